"""The report in the terminal."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from verifier.inspection import Inspection
from verifier.judging.row import NOT_READ
from verifier.reporting import terminal
from verifier.reporting.bar import Bar, bar_of
from verifier.reporting.drawn_bar import ASCII, UNICODE, draw_bar
from verifier.reporting.size_lines import figures_of
from verifier.reporting.words import row_notes

from .examples import EVERY, FAILED, HELD, HOSTILE_NAME, PASSED, PIVOT, TO_MEASURE, UNDECIDED, hostile, size, told_texts

ANSI = re.compile(r"\x1b")


def squeezed(text: str) -> str:
    """The text with every run of white space as one space, so that a wrapped sentence is found whole."""
    return " ".join(text.split())


@pytest.mark.parametrize("inspection", EVERY.values(), ids=EVERY.keys())
@pytest.mark.parametrize("width", [80, 120, 200])
def test_everything_said_stands_in_the_terminal_at_every_width(inspection: Inspection, width: int):
    shown = squeezed(terminal.render(inspection, width=width, colour=False))
    assert [text for text in told_texts(inspection) if text not in shown] == []


@pytest.mark.parametrize("inspection", [*EVERY.values(), hostile()], ids=[*EVERY, "hostile"])
@pytest.mark.parametrize("width", [40, 80, 120, 200])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_line_is_wider_than_the_terminal(inspection: Inspection, width: int, ascii_only: bool):
    shown = terminal.render(inspection, width=width, colour=False, ascii_only=ascii_only)
    assert max(cell_len(line) for line in shown.splitlines()) <= width


@settings(max_examples=40, deadline=None)
@given(width=st.integers(40, 260), name=st.text(min_size=1, max_size=80))
def test_any_name_at_any_width_keeps_within_the_terminal_and_sends_it_no_codes(width: int, name: str):
    shown = terminal.render(UNDECIDED.model_copy(update={"sizes": (size(name), PIVOT)}), width=width, colour=False)
    assert max(cell_len(line) for line in shown.splitlines()) <= width
    assert all(char == "\n" or char.isprintable() for char in shown)


@pytest.mark.parametrize("inspection", EVERY.values(), ids=EVERY.keys())
def test_without_colour_there_are_no_escape_codes_and_with_colour_only_colour_is_added(inspection: Inspection):
    plain = terminal.render(inspection, width=100, colour=False)
    coloured = terminal.render(inspection, width=100, colour=True)
    assert not ANSI.search(plain)
    assert ANSI.search(coloured)
    assert squeezed(re.sub(r"\x1b\[[0-9;]*m", "", coloured)) == squeezed(plain)


def test_a_screen_that_knows_only_ascii_gets_only_ascii():
    shown = terminal.render(hostile(), width=80, colour=False, ascii_only=True)
    assert shown.isascii()
    assert "Turriegel ??" in shown


def test_hostile_names_are_shown_as_the_letters_they_are():
    shown = squeezed(terminal.render(hostile(), width=200, colour=False))
    assert not ANSI.search(shown)
    assert (
        "[red]x[/] <script>alert(1)</script> \N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER} two lines" in shown
    )
    assert "\N{RIGHT-TO-LEFT OVERRIDE}" not in shown


def test_the_verdict_is_the_first_word():
    assert terminal.render(FAILED, width=80, colour=False).split()[0] == "FAIL"


def test_a_size_still_to_be_measured_says_so_in_place_of_its_reading():
    row = next(line for line in terminal.render(HELD, width=100, colour=False).splitlines() if "wall thickness" in line)
    assert row.split()[3:5] == ["measure", "11.98"]


def test_a_size_still_to_be_measured_is_one_line():
    assert row_notes(TO_MEASURE.model_copy(update={"reason": NOT_READ})) == ()
    assert row_notes(TO_MEASURE.model_copy(update={"reason": "Not seen."})) == ("Not seen",)


def test_one_line_holds_name_reading_scan_true_deviation_uncertainty_bar_and_verdict():
    row = next(
        line for line in terminal.render(PASSED, width=80, colour=False).splitlines() if " 2  pivot bore" in line
    )
    assert row.split() == ["2", "pivot", "bore", "12.02", "11.93", "12.010", "-0.010", "0.030", "├░───●───░┤", "PASS"]


@pytest.mark.parametrize(
    ("bar", "drawn"),
    [
        (Bar(at=0.5, guard=0.0, spread=0.0, aim=None), " ├─────●────┤ "),
        (Bar(at=0.05, guard=0.2, spread=0.2, aim=0.5), " ├●░───┼──░░┤ "),
        (Bar(at=1.3, guard=0.2, spread=0.2, aim=0.5), " ├░░───┼──░░┤►"),
        (Bar(at=-0.1, guard=0.2, spread=0.2, aim=0.5), "◄├░░───┼──░░┤ "),
        (Bar(at=1.0, guard=0.01, spread=0.01, aim=0.5), " ├░────┼───●┤ "),
        (Bar(at=0.0, guard=0.5, spread=3.0, aim=0.5), " ├●░░░░┼░░░░┤ "),
    ],
)
def test_a_bar_shows_the_size_between_its_limits(bar: Bar, drawn: str):
    assert draw_bar(bar, 14, UNICODE) == drawn
    assert draw_bar(bar, 14, ASCII).isascii()


def test_the_bar_of_a_form_has_no_guard_band_at_perfection():
    flat = size("flat", "flatness", tolerance_mm=(0.0, 0.2), one_sided=True, corrected_mm=0.05, reading_mm=None)
    bar = bar_of(flat.model_copy(update={"expanded_uncertainty_mm": 0.1}))
    assert draw_bar(bar, 14, UNICODE) == " ├──●──░░░░░┤ "
    assert figures_of(flat)[0] == "≤ 0.20"


def test_a_bar_measures_in_parts_of_the_tolerance():
    row = size("length", tolerance_mm=(99.5, 100.5), reading_mm=100.0, corrected_mm=100.25, expanded_uncertainty_mm=0.1)
    bar = bar_of(row)
    assert bar is not None
    assert (bar.at, bar.guard, bar.spread, bar.aim) == pytest.approx((0.75, 0.1, 0.1, 0.5))
    assert bar_of(size("length", tolerance_mm=None)) is None
    assert bar_of(size("length", corrected_mm=None)) is None


@pytest.mark.parametrize("verdict", ["REFUSED", "UNDECIDED"])
def test_a_refusal_has_its_verdict_the_name_and_the_whole_sentence(verdict):
    shown = terminal.render_refusal(HOSTILE_NAME, "fence_clip.stl: it ends early. Export it again.", verdict, width=60)
    assert shown.split()[0] == verdict
    assert "fence_clip.stl: it ends early. Export it again." in squeezed(shown)
    assert not ANSI.search(shown)


def test_a_summary_has_an_entry_a_part_and_counts_the_verdicts():
    rows = [
        ("latch_lever", "PASS", "every size lies within its limits", "slicer/latch_lever.3mf"),
        ("pump_rocker", "UNDECIDED", "pin bore cannot be told from too large", "held/pump_rocker"),
        ("fence_clip", "UNDECIDED", "no sheet yet", "held/fence_clip"),
    ]
    shown = terminal.render_summary(rows, width=80)
    assert all(text in shown for row in rows for text in row)
    assert shown.splitlines()[-1] == " 3 parts: 1 PASS, 2 UNDECIDED"
