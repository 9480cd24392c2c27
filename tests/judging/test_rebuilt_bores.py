"""What a row is judged by when its bore was rebuilt."""

from dataclasses import replace

import numpy as np
import pytest

from tests.correcting.bench import LEVER, scanned, shop
from tests.correcting.parts import bore, box_planes, features
from tests.judging.test_judge import block, row_of, sheet_for, with_row, with_size
from tests.made_up_rules import FILAMENT, PRINTER
from verifier.correcting.bores import RebuiltBore
from verifier.correcting.printing import plan_print
from verifier.correcting.scale_coat import separate_scale_from_coat
from verifier.judging import Judgement, judge
from verifier.measuring.size import Size
from verifier.rulebook import Hole, Seat, Sheet

RULES = shop()
CAREFUL = PRINTER.model_copy(update={"hole_allowance_mm": 0.2, "u_hole_mm": 0.05})
FOR_M6 = Hole("slides", 6.6, 6.6, "M6, medium fit", "ISO 273:1979")
BY_READING = Hole("true", 6.0, 6.0, "its reading of 6 mm", "the sheet", by_sheet=True, by_reading=True)
BY_DRAWING = replace(BY_READING, by_reading=False)


def judged(made: RebuiltBore, sizes: tuple[Size, ...], sheet: Sheet | None = None) -> Judgement:
    sheet = sheet or sheet_for(LEVER)
    solid = block()
    found = features(box_planes(82, 28, 8), (bore("pin", (0, 0, 1), (60, 14, 4), 6.0),))
    sizes = tuple(replace(size, features=("pin",)) if size.name == "pin" else size for size in sizes)
    plan = plan_print(solid, found, sheet, RULES, FILAMENT, CAREFUL, (made,))
    return judge(sizes, separate_scale_from_coat(sizes, sheet, RULES), sheet, RULES, solid, plan)


def rebuilt(hole: Hole, **more: object) -> RebuiltBore:
    return RebuiltBore("pin", "pin", hole, on_copy_mm=6.2 if hole is not FOR_M6 else 6.8, upright=True, **more)


def test_a_bore_rebuilt_for_a_screw_passes_however_it_scanned() -> None:
    """Seen over 200 degrees and 0.4 mm too wide: as a scan it would be undecided."""
    worn = with_size("pin", scanned(LEVER), measured_mm=6.4, seen_share=200 / 360)
    row = row_of(judged(rebuilt(FOR_M6), worn), "pin")
    assert row.verdict == "PASS"
    assert row.reason == "It is rebuilt at 6.600 mm for M6, medium fit; how it scanned does not matter."
    assert row.do == ""


def test_its_size_on_the_print_is_the_wanted_one_and_is_not_held_to_the_old_bore_s_limits() -> None:
    """6.8 on the copy, less the 0.2 the printer takes; u from the shrink's 0.001 / 0.994 and the printer's 0.05."""
    row = row_of(judged(rebuilt(FOR_M6), scanned(LEVER)), "pin")
    assert row.printed == pytest.approx(6.6)
    assert row.printed_expanded_u == pytest.approx(2.0 * np.hypot(0.05, 6.8 * 0.001 / 0.994))
    assert row.printed_verdict is None


def test_a_bore_made_true_is_held_to_its_own_limits_on_the_print() -> None:
    row = row_of(judged(rebuilt(BY_READING), scanned(LEVER)), "pin")
    assert row.printed == pytest.approx(6.0)
    assert row.printed_verdict == "PASS"  # 6.00 +- 0.10 within 5.85 to 6.15


def test_a_bore_with_no_reading_wants_none_when_its_screw_says_its_size() -> None:
    sheet = with_row(sheet_for(LEVER), "pin", reading=None)
    found = judged(rebuilt(FOR_M6), scanned(LEVER), sheet)
    assert row_of(found, "pin").verdict == "PASS"
    assert not any("pin" in step for step in found.next_steps)


def test_a_reading_that_the_scan_speaks_against_is_still_told_when_the_bore_rests_on_it() -> None:
    """Read 6.5 where the bore is 6.0: a bore made by that reading would be wrong, one made by the drawing is not."""
    sheet = with_row(sheet_for(LEVER), "pin", reading=6.5)
    assert row_of(judged(rebuilt(BY_READING), scanned(LEVER), sheet), "pin").verdict != "PASS"
    by_drawing = with_row(sheet_for(LEVER), "pin", reading=6.5, nominal=6.0)
    assert row_of(judged(rebuilt(BY_DRAWING), scanned(LEVER), by_drawing), "pin").verdict == "PASS"


def test_a_seat_that_could_not_be_cut_is_mended_in_the_sheet_and_not_by_scanning_again() -> None:
    seat = Seat("counterbored", "M6", 10.6, 6.4, 2.4, None, "made up")
    left = RebuiltBore("pin", "pin", replace(FOR_M6, seat=seat), why_not="it has more than one mouth for its head")
    row = row_of(judged(left, scanned(LEVER)), "pin")
    assert row.verdict == "UNDECIDED"
    assert row.do == "Write seat_on or another seat in the row 'pin', or take its seat out and cut it by hand."


def test_a_bore_that_could_not_be_rebuilt_leaves_its_row_undecided_with_the_reason() -> None:
    left = RebuiltBore("pin", "pin", FOR_M6, why_not="another opening meets it")
    found = judged(left, scanned(LEVER))
    row = row_of(found, "pin")
    assert row.verdict == found.verdict == "UNDECIDED"
    assert "rebuilt for M6, medium fit, and that could not be done: another opening meets it." in row.reason
    assert 'use = "keep"' in row.do
    assert row.printed == pytest.approx(5.8)  # as scanned, less what the printer takes


def test_where_it_cannot_be_told_which_bore_is_meant_both_rows_say_so_and_one_step_settles_both() -> None:
    left = RebuiltBore("pin", "pin", FOR_M6, why_not="which bore it is cannot be told")
    found = judged(left, with_size("pivot", scanned(LEVER), features=("pin",)))
    pin, pivot = row_of(found, "pin"), row_of(found, "pivot")
    assert (pin.verdict, pivot.verdict) == ("UNDECIDED", "UNDECIDED")
    assert pivot.reason == "It cannot be told from 'pin', which the sheet wants rebuilt for M6, medium fit."
    assert "the same use, or 'pin' one more distance that only it has" in pin.do
    assert pivot.do == pin.do
    assert found.next_steps.count(pin.do) == 1


def test_a_bore_to_be_drilled_has_no_size_on_the_print() -> None:
    hole = Hole("drill", 6.0, 6.0, "its nominal size of 6 mm", "the sheet", by_sheet=True)
    found = judged(RebuiltBore("pin", "pin", hole), scanned(LEVER))
    row = row_of(found, "pin")
    assert row.verdict == "PASS"
    assert row.reason == "It is filled, to be drilled for its nominal size of 6 mm."
    assert (row.printed, row.printed_verdict) == (None, None)
    assert "Drill at the marks on the print: 'pin' (6 mm)." in found.next_steps


def test_a_bore_that_was_not_found_is_asked_for_as_ever() -> None:
    lost = with_size("pin", scanned(LEVER), measured_mm=None, reason="no bore fits 6.00 mm")
    row = row_of(judged(RebuiltBore("pin", "", FOR_M6, why_not="it was not found on the scan"), lost), "pin")
    assert row.verdict == "UNDECIDED"
    assert row.reason == "Not measured: no bore fits 6.00 mm."


def test_a_countersink_made_anew_with_its_bore_is_right_however_it_scanned_and_has_no_size_foretold() -> None:
    """The pin's row stands in for one of its countersink, 2 mm too wide on the scan."""
    seat = Seat("countersunk", "M6", 12.0, 2.7, 2.4, None, "made up")
    made = RebuiltBore("pivot", "pivot", replace(FOR_M6, seat=seat), on_copy_mm=6.8, upright=True, gone=("pin",))
    row = row_of(judged(made, with_size("pin", scanned(LEVER), measured_mm=8.0)), "pin")
    assert (row.verdict, row.printed, row.printed_verdict) == ("PASS", None, None)
    assert row.reason == "It is made anew with 'pivot', countersunk for its head; how it scanned does not matter."
