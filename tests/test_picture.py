"""The live picture: what a person sees at each moment."""

import io
from pathlib import Path

from rich.console import Console

from verifier.bench import Claimed, Finished, Notice, Ready, SetAside, Stage, TriedAgain, Waiting
from verifier.picture import Picture
from verifier.screen import Screen
from verifier.watching import live_picture

BENCH = Path("/bench")


def finished(job: int, part: str, verdict: str) -> Finished:
    return Finished(job, part, verdict, BENCH / "slicer", None, (), (), (), f"{verdict} {part}")


def lines_at(picture: Picture, now_s: float, width: int = 100) -> list[str]:
    console = Console(file=io.StringIO(), width=width, color_system=None)
    console.print(picture.drawn(now_s))
    return [line.rstrip() for line in console.file.getvalue().splitlines()]


def test_an_idle_bench_says_only_that_it_is_watched():
    picture = Picture(0.0)
    picture.take(Ready(BENCH), 0.0)
    assert lines_at(picture, 90.0)[0] == f"Watching {BENCH / 'inbox'} for 1 min. Stop with Ctrl-C."


def test_a_scan_is_seen_waiting_then_taken_then_at_each_stage_then_come_out():
    picture = Picture(0.0)
    picture.take(Ready(BENCH), 0.0)
    picture.take(Waiting("latch_lever.stl", "it may still be growing"), 1.0)
    assert lines_at(picture, 3.0)[1:3] == ["Waits", "  latch_lever.stl  it may still be growing  2 s"]
    picture.take(Claimed(1, "latch_lever", "latch_lever.stl", 100), 4.0)
    assert lines_at(picture, 6.0)[1:3] == ["Next", "  latch_lever  taken 2 s ago"]
    picture.take(Stage(1, "latch_lever", "reading", 0.0), 6.0)
    picture.take(Stage(1, "latch_lever", "finding", 2.0), 8.0)
    assert lines_at(picture, 11.0)[1:3] == ["In hand", "  latch_lever  finding  3 s of 7 s"]
    picture.take(finished(1, "latch_lever", "PASS"), 12.0)
    assert lines_at(picture, 99.0)[1:] == ["Came out: 1 PASS", "  latch_lever  PASS  8 s, in slicer"]


def test_a_job_that_starts_over_waits_for_its_turn_again():
    picture = Picture(0.0)
    picture.take(Stage(1, "latch_lever", "finding", 0.0), 0.0)
    picture.take(TriedAgain(1, "latch_lever", "it crashed"), 5.0)
    assert lines_at(picture, 6.0)[1:3] == ["Next", "  latch_lever  taken 6 s ago"]


def test_long_lists_are_cut_and_counted():
    picture = Picture(0.0)
    for number in range(9):
        picture.take(Waiting(f"part_{number}.stl", "it may still be growing"), 0.0)
        picture.take(SetAside(number, f"part_{number}", "why", BENCH / "held"), 0.0)
    lines = lines_at(picture, 0.0)
    assert "  and 5 more" in lines
    assert "Came out: 9 set aside" in lines
    assert len(lines) <= 15


def test_a_file_that_was_taken_away_waits_no_more():
    picture = Picture(0.0)
    picture.take(Waiting("a.stl", "x"), 0.0)
    picture.take(Waiting("b.stl", "x"), 0.0)
    picture.keep_waiting(["b.stl"])
    assert lines_at(picture, 0.0)[2:] == ["  b.stl  x  0 s"]


def test_names_and_reasons_are_never_taken_for_markup():
    picture = Picture(0.0)
    picture.take(Waiting("[red]a[/].stl", "[bold]"), 0.0)
    assert lines_at(picture, 0.0)[2] == "  [red]a[/].stl  [bold]  0 s"


def test_no_line_is_wider_than_the_terminal():
    picture = Picture(0.0)
    picture.take(Waiting("x" * 200 + ".stl", "it may still be growing"), 0.0)
    assert max(map(len, lines_at(picture, 0.0, width=40))) <= 40


def test_reports_and_notices_stay_above_the_picture(tmp_path):
    console = Console(file=io.StringIO(), force_terminal=True, width=100)
    with live_picture(console, tmp_path, Screen(out=console.file)) as (take, look_again):
        take(Ready(tmp_path))
        take(Claimed(1, "latch_lever", "latch_lever.stl", 100))
        take(Notice("The disk is [nearly] full."))
        take(finished(1, "latch_lever", "PASS"))
        look_again()
    drawn = console.file.getvalue()
    assert "The disk is [nearly] full." in drawn
    assert drawn.index("PASS latch_lever") < drawn.rindex("Came out: 1 PASS")
