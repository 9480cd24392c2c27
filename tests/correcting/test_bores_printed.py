from dataclasses import replace

import numpy as np
import pytest

from tests.correcting.bench import shop
from tests.correcting.bored import UNCORRECTED
from tests.correcting.parts import as_solid, block, bore, box_planes, features
from tests.made_up_rules import FILAMENT, PRINTER
from verifier.correcting import BoreOnPrint, RebuiltBore, bores_on_print, plan_print
from verifier.correcting.bores_opening import Mouth
from verifier.correcting.bores_seat import SeatCut, seat_outline
from verifier.correcting.correction import Term
from verifier.rulebook import Hole, Seat
from verifier.rulebook.sheet import Sheet

LEVER_BOX = (82.0, 28.0, 8.0)
CAREFUL = PRINTER.model_copy(update={"hole_allowance_mm": 0.2, "u_hole_mm": 0.05})
FOUND = features(
    box_planes(*LEVER_BOX), (bore("bore 1", (0, 0, 1), (10, 14, 4), 9.96), bore("bore 2", (1, 0, 0), (41, 14, 4), 4.0))
)
FOR_M4 = Hole("slides", 4.5, 4.5, "M4, medium fit", "ISO 273:1979", ("Grease it.",))


def listed(*rebuilt: RebuiltBore, correction: object = UNCORRECTED) -> tuple[BoreOnPrint, ...]:
    sheet = Sheet(part="latch_lever")
    plan = plan_print(as_solid(block(*LEVER_BOX)), FOUND, sheet, shop(), FILAMENT, CAREFUL, rebuilt)
    return bores_on_print(FOUND, correction, plan)


def test_a_kept_upright_bore_prints_small_and_wants_the_drill_of_its_size() -> None:
    upright, lying = listed()
    assert upright.printed_mm == pytest.approx(9.76)
    assert upright.drill_mm == 10.0
    assert 'use = "true"' in upright.note
    assert upright.u_mm == pytest.approx(np.linalg.norm([0.01, 0.05, 9.96 * 0.001 / 0.994]))
    assert (lying.printed_mm, lying.drill_mm) == (4.0, None)  # what a lying hole loses is not known


def test_a_kept_bore_is_wider_by_the_coat_and_smaller_by_the_scale_that_were_taken_out() -> None:
    terms = {
        "scale": Term(1.01, 1e-4, True, ""),
        "coat": Term(0.07, 1e-3, True, ""),
        "coat_inside": Term(0.05, 1e-3, True, ""),
    }
    taken_out = replace(UNCORRECTED, **terms)
    assert listed(correction=taken_out)[1].printed_mm == pytest.approx((4.0 + 2 * 0.05) / 1.01)


def test_a_rebuilt_bore_prints_at_its_wanted_size_with_its_notes() -> None:
    made = RebuiltBore("pivot", "bore 1", FOR_M4, on_copy_mm=4.7, depth_mm=8.0, through=True, upright=True)
    upright = listed(made)[0]
    assert upright.printed_mm == pytest.approx(4.5)
    assert upright.drill_mm == 4.5
    assert upright.note == "It prints open at both ends. Grease it."


@pytest.mark.parametrize(
    ("form", "outward", "says"),
    [
        ("counterbored", 1, "Counterbore on plane 2 (prints facing up): 7.60 mm across, 4.4 mm deep; 3.6"),
        ("hexagon", -1, "Nut pocket on plane 2 (prints facing the bed): 7.60 mm across its flats, 4.4 mm deep; 3.6"),
    ],
)
def test_a_seat_is_told_with_its_finished_sizes_and_what_is_left_beneath(form: str, outward: int, says: str) -> None:
    seat = Seat(form, "M4", 7.6, 4.4, 1.6, "plane 2", "made up")
    cut = SeatCut(seat, Mouth(np.arange(3), outward, 8.0, 0), "plane 2", seat_outline(seat, 0.2, 0.01), 4.4)
    made = RebuiltBore("pivot", "bore 1", FOR_M4, on_copy_mm=4.7, depth_mm=3.6, through=True, seat=cut)
    assert listed(made)[0].note == f"It prints open at both ends. {says} mm are left beneath. Grease it."


def test_a_lying_bore_s_roof_is_warned_of() -> None:
    made = RebuiltBore("pin", "bore 2", FOR_M4, on_copy_mm=4.5, depth_mm=82.0, through=False)
    lying = listed(made)[1]
    assert lying.printed_mm == pytest.approx(4.5)
    assert lying.note.startswith("It prints open at one end. Grease it. It prints lying")


@pytest.mark.parametrize(("depth_mm", "told"), [(8.0, True), (10.0, False)])
def test_a_bore_too_shallow_for_its_screw_is_told(depth_mm: float, told: bool) -> None:
    forming = Hole("threads", 3.3, 3.3, "M4, forming its thread in PETG", "", least_depth_mm=10.0)
    made = RebuiltBore("pivot", "bore 1", forming, on_copy_mm=3.5, depth_mm=depth_mm, through=True)
    assert ("only 8.0 mm deep" in listed(made)[0].note) is told


def test_a_filled_bore_has_no_size_and_is_to_be_drilled() -> None:
    hole = Hole("drill", 4.2, 4.2, "its reading of 4.2 mm", "the sheet")
    filled = listed(RebuiltBore("pivot", "bore 1", hole))[0]
    assert filled.is_filled
    assert (filled.printed_mm, filled.u_mm, filled.drill_mm) == (None, None, 4.2)
    assert filled.note == "A mark in every mouth shows its middle."


def test_a_bore_that_could_not_be_rebuilt_is_listed_as_kept_with_the_reason() -> None:
    left = listed(RebuiltBore("pivot", "bore 1", FOR_M4, why_not="another opening meets it"))[0]
    assert not left.is_filled
    assert left.printed_mm == pytest.approx(9.76)
    assert left.note.startswith("It could not be rebuilt: another opening meets it.")
