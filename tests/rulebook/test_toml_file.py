import os
import sys
import tracemalloc

import pytest

from tests.rulebook.shop import sheet_on_disk, shipped_rules
from verifier.errors import RuleMistake
from verifier.rulebook import load_sheet
from verifier.rulebook.toml_file import MAX_BYTES, read_toml

GOOD = 'part = "latch_lever"\n'


def refused(path) -> RuleMistake:
    with pytest.raises(RuleMistake) as raised:
        load_sheet(path, shipped_rules())
    return raised.value


@pytest.mark.parametrize(
    ("text", "line", "what", "do"),
    [
        (GOOD + "infill = 0,5\n", 2, "a comma", "0.5"),
        (GOOD + "infill = 24,06   # typed in a hurry\n", 2, "a comma", "24.06"),
        (GOOD + "infill 0.5\n", 2, "no '='", "key = value"),
        (GOOD + "infill = \n", 2, "cannot be read", "key = value"),
        (GOOD + "infill = yes\n", 2, "cannot be read", "key = value"),
        ("part = “latch_lever”\n", 1, "cannot be read", "straight quotes"),
        (GOOD + GOOD, 2, "given twice", "Take one"),
        (GOOD + "[a]\nb = 1\n[a]\nb = 2\n", 4, "given twice", "Take one"),
        (GOOD + "size = []\n[[size]]\n", 3, "closed already", "one place"),
        (GOOD + 'description = "an end is missing\n', 2, "cannot be printed", "again"),
        (GOOD + "description = 'an end is missing", 2, "not closed", "Close it"),
        (GOOD + 'description = "C:\\qr"\n', 2, "backslash", "single quotes"),
        (GOOD + "[[size]\n", 2, "not closed", "Close it"),
        (GOOD + "infill = " + "9" * 5000 + "\n", 2, "cannot be read", "key = value"),
    ],
)
def test_a_text_that_is_not_toml_is_refused_with_its_line(tmp_path, text, line, what, do):
    error = refused(sheet_on_disk(tmp_path, text))
    assert error.where == f"latch_lever.toml, line {line}"
    assert what in error.what
    assert do in error.do


def test_a_mark_before_the_text_is_no_mistake(tmp_path):
    path = tmp_path / "latch_lever.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_sheet(path, shipped_rules()).part == "latch_lever"


def test_lines_ended_as_on_another_system_are_no_mistake(tmp_path):
    path = sheet_on_disk(tmp_path, GOOD.replace("\n", "\r\n") + 'filament = "PLAA"\r\n')
    with pytest.raises(Exception, match=r"latch_lever.toml, line 2: there is no filament"):
        load_sheet(path, shipped_rules())


@pytest.mark.parametrize("encoding", ["latin-1", "utf-16"])
def test_a_file_in_another_encoding_is_refused_with_the_line(tmp_path, encoding):
    path = tmp_path / "latch_lever.toml"
    path.write_bytes((GOOD + 'description = "Hebel für die Tür"\n').encode(encoding))
    error = refused(path)
    assert error.where == f"latch_lever.toml, line {1 if encoding == 'utf-16' else 2}"
    assert "UTF-8" in error.do


def test_a_file_of_one_mebibyte_is_read_and_a_longer_one_refused(tmp_path):
    filled = GOOD + "#" * (MAX_BYTES - len(GOOD))
    assert load_sheet(sheet_on_disk(tmp_path, filled), shipped_rules()).part == "latch_lever"
    assert "larger than 1 MiB" in refused(sheet_on_disk(tmp_path, filled + "#")).what


def test_a_missing_file_is_refused_by_name(tmp_path):
    error = refused(tmp_path / "latch_lever.toml")
    assert error.where == "latch_lever.toml"
    assert "cannot be opened" in error.what
    assert str(tmp_path) in error.do


def test_a_name_a_terminal_would_obey_is_told_without_what_it_would_obey(tmp_path):
    error = refused(tmp_path / "lever\x1b[31m\udcff.toml")
    assert error.where == "lever?[31m?.toml"


def test_a_folder_in_the_place_of_a_file_is_refused(tmp_path):
    (tmp_path / "latch_lever.toml").mkdir()
    assert "no ordinary file" in refused(tmp_path / "latch_lever.toml").what


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no named pipes among its files")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "latch_lever.toml")
    assert "no ordinary file" in refused(tmp_path / "latch_lever.toml").what


def test_brackets_nested_without_end_are_refused(tmp_path):
    assert "too deep" in refused(sheet_on_disk(tmp_path, "a = " + "[" * 100_000)).what


@pytest.mark.parametrize("part", ["a.", "'a'.", '"a" . '])
def test_a_key_of_endless_dots_is_refused_before_it_fills_the_memory(tmp_path, part):
    """The parser's memory grows with the square of the dots: without the limit 1 MiB of them ends in a kill."""
    path = sheet_on_disk(tmp_path, GOOD + part * (1_000_000 // len(part)) + "a = 1\n")
    tracemalloc.start()
    error = refused(path)
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert error.where == "latch_lever.toml, line 2"
    assert peak_bytes < 20 * MAX_BYTES  # the text, a copy of it, and the parser's pieces


def test_dots_in_a_text_are_no_long_key(tmp_path):
    text = GOOD + 'description = "and so on ................................ see www.a.example, 1.2.3.4"\n'
    assert load_sheet(sheet_on_disk(tmp_path, text), shipped_rules()).description.startswith("and so on")


def test_lists_come_out_as_values_that_cannot_change(tmp_path):
    path = sheet_on_disk(tmp_path, "a = [1, [2, 3]]\n[b]\nc = [4]\n")
    assert read_toml(path).values == {"a": (1, (2, 3)), "b": {"c": (4,)}}
