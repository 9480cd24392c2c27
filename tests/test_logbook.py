"""The log of a bench."""

import re
from pathlib import Path

import pytest

from verifier.bench import Claimed, Finished, Notice, Ready, SetAside, Stage, TriedAgain, Waiting
from verifier.errors import BenchBusy
from verifier.logbook import EARLIER_FILES, line_of, logbook

HELD = Path("/bench/held/fence_clip")
EVENTS = {
    Ready(Path("/bench")): "Watched /bench",
    Waiting("a.stl", "it may still be growing"): "Left a.stl in the inbox: it may still be growing",
    Claimed(3, "fence_clip", "fence_clip.stl", 1_234_567): "Took fence_clip.stl as job 3 of fence_clip, 1.235 MB",
    Stage(3, "fence_clip", "finding", 1.5): "Began finding, job 3 of fence_clip, after 1.500 s",
    TriedAgain(3, "fence_clip", "its sheet has changed"): "Restarted job 3 of fence_clip: its sheet has changed",
    Finished(
        3, "fence_clip", "FAIL", HELD, None, (), (), (), "FAIL"
    ): f"Published job 3 of fence_clip: FAIL, in {HELD}",
    SetAside(3, "fence_clip", "It hung.\nTwice.", HELD): f"Set aside job 3 of fence_clip, in {HELD}: It hung. | Twice.",
    Notice("The disk is nearly full."): "Noticed: The disk is nearly full.",
}


@pytest.mark.parametrize("event", list(EVENTS), ids=lambda event: type(event).__name__)
def test_a_line_is_verb_thing_and_number_with_its_unit(event):
    assert line_of(event)[1] == EVENTS[event]


def test_each_event_is_one_line_with_its_time_and_level(tmp_path):
    with logbook(tmp_path / "verifier.log") as write_down:
        for event in EVENTS:
            write_down(event)
    lines = (tmp_path / "verifier.log").read_text(encoding="utf-8").splitlines()
    assert len(lines) == len(EVENTS) + 1
    shape = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}[+-]\d\d:\d\d (INFO|WARNING|ERROR) \S.*"
    assert all(re.fullmatch(shape, line) for line in lines)
    assert lines[-1].endswith("INFO Stopped watching")


def test_a_long_log_is_turned_over_and_the_oldest_lines_go(tmp_path):
    with logbook(tmp_path / "verifier.log", file_bytes=1000) as write_down:
        for number in range(200):
            write_down(Notice(f"number {number}"))
    files = sorted(tmp_path.iterdir())
    assert [file.name for file in files] == ["verifier.log", *(f"verifier.log.{n + 1}" for n in range(EARLIER_FILES))]
    assert all(file.stat().st_size <= 1000 for file in files)
    assert "number 199" in files[0].read_text()
    assert "number 0" not in "".join(file.read_text() for file in files)


def test_a_mistake_of_ours_leaves_its_traceback_and_goes_on(tmp_path):
    with pytest.raises(ZeroDivisionError), logbook(tmp_path / "verifier.log") as write_down:
        write_down(1 / 0)
    assert "Traceback" in (tmp_path / "verifier.log").read_text()


def test_a_second_service_writes_nothing_into_the_first_one_s_log(tmp_path):
    with pytest.raises(BenchBusy), logbook(tmp_path / "verifier.log"):
        raise BenchBusy("busy", where="bench", do="Stop it")
    assert list(tmp_path.iterdir()) == []


def test_a_log_that_cannot_be_written_stops_nothing(tmp_path, capsys):
    with logbook(tmp_path / "no_folder" / "verifier.log") as write_down:
        write_down(Notice("x"))
    assert capsys.readouterr() == ("", "")
