"""Names that are safe in folders and on a screen."""

import os

from hypothesis import given
from hypothesis import strategies as st

from verifier.bench.names import is_companion, is_passing, scan_name, shown
from verifier.rulebook import part_name

ANY_NAME = st.binary(min_size=1, max_size=255).filter(lambda name: b"/" not in name and b"\0" not in name)


def test_an_ordinary_name_stays_as_it_is():
    for name in ("latch_lever.stl", "seat_armrest.2.ply", "[red] lever.obj", "latch_lever.print.stl", "no_ending"):
        assert scan_name(name) == name


def test_letters_with_accents_have_one_spelling():
    assert scan_name("riegel_gru\u0308n.stl") == "riegel_gr\u00fcn.stl"


def test_names_that_must_be_altered_stay_two_parts():
    names = [os.fsdecode(b"r\xfcck.stl"), os.fsdecode(b"r\xfdck.stl"), "r_ck.stl", "r:ck.stl", "r\nck.stl"]
    assert len({scan_name(name) for name in names}) == len(names)


@given(ANY_NAME)
def test_every_name_becomes_one_that_any_file_system_takes(raw):
    name = scan_name(os.fsdecode(raw))
    part = part_name(name)
    assert part
    assert part == part.strip()
    assert name.isprintable()
    assert not set(name) & set('<>:"/\\|?*')
    assert not name.endswith(".")
    # With a digest's beginning, a number, and the longest ending a result has.
    assert len(f"99-0123456789ab-{name}".encode()) <= 255
    assert len(f".{part}.traceback.txt.part".encode()) <= 255


@given(ANY_NAME)
def test_every_name_can_be_shown(raw):
    assert shown(os.fsdecode(raw)).isprintable()


def test_escape_characters_do_not_reach_the_terminal():
    assert shown("\x1b[31mlever.stl") == "\\x1b[31mlever.stl"


def test_temporary_and_hidden_names_are_passed_over():
    assert all(map(is_passing, (".a.stl", "a.stl.part", "a.stl~", "~$a.stl", "A.TMP", "Thumbs.db", "a.stl.crdownload")))
    assert not any(map(is_passing, ("a.stl", "part.stl", "tmp.ply")))


def test_materials_and_pictures_are_companions():
    assert is_companion("latch_lever.MTL")
    assert not is_companion("latch_lever.obj")
