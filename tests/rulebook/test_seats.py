import pytest
from pydantic import ValidationError

from tests.rulebook.shop import one_row_sheet, shipped_rules
from verifier.errors import UnknownName
from verifier.rulebook import Seat, SheetRow, filament_for, wanted_holes
from verifier.rulebook.print_sheet import sheet_of_print
from verifier.rulebook.seat_row import SeatSize

RULES = shipped_rules()
SCREWS = ("M3", "M4", "M5", "M6", "M8", "M10")
SLIDING = {"name": "screw", "kind": "bore", "use": "slides"}

# Head diameter and height, ISO 4762; theoretical sharp edge, ISO 10642; flats and height, ISO 4032.
CAP = dict(zip(SCREWS, [(5.5, 3), (7, 4), (8.5, 5), (10, 6), (13, 8), (16, 10)], strict=True))
SUNK = dict(zip(SCREWS, [6.72, 8.96, 11.2, 13.44, 17.92, 22.4], strict=True))
NUT = dict(zip(SCREWS, [(5.5, 2.4), (7, 3.2), (8, 4.7), (10, 5.2), (13, 6.8), (16, 8.4)], strict=True))


def seat(**keys: object) -> Seat | None:
    sheet = one_row_sheet(SheetRow(**SLIDING, **keys))
    return wanted_holes(sheet, RULES, filament_for(sheet, RULES, "PETG"))["screw"].seat


@pytest.mark.parametrize("screw", SCREWS)
def test_a_seat_is_the_published_head_or_nut_with_its_clearance(screw: str) -> None:
    cap, nut, sunk = (seat(screw=screw, seat=form) for form in ("counterbored", "hexagon", "countersunk"))
    assert (cap.across_mm, cap.deep_mm) == pytest.approx((CAP[screw][0] + 0.6, CAP[screw][1] + 0.4))
    assert (nut.across_mm, nut.deep_mm) == pytest.approx((NUT[screw][0] + 0.2, NUT[screw][1] + 0.3))
    assert sunk.across_mm == pytest.approx(SUNK[screw] + 0.2)
    assert all("ISO" in each.source and "common practice, no source" in each.source for each in (cap, nut, sunk))


def test_a_countersink_reaches_the_screw_s_hole_whichever_fit() -> None:
    """90 degrees: half of what it narrows by; M4 from 9.16 to 4.3, 4.5 and 4.8."""
    deep = [seat(screw="M4", seat="countersunk", fit=fit).deep_mm for fit in ("fine", "medium", "coarse")]
    assert deep == pytest.approx([2.43, 2.33, 2.18])


def test_the_hole_says_its_seat_and_whose_figures_it_has() -> None:
    sheet = one_row_sheet(SheetRow(**SLIDING, screw="M4", seat="hexagon"))
    hole = wanted_holes(sheet, RULES, filament_for(sheet, RULES, "PETG"))["screw"]
    assert hole.made_for == "M4, medium fit, with a hexagon for its nut"
    assert "ISO 273" in hole.source
    assert "ISO 4032" in hole.source


def test_a_bore_without_a_seat_has_none() -> None:
    assert seat(screw="M4") is None


@pytest.mark.parametrize(
    ("keys", "says"),
    [
        ({"use": "insert", "screw": "M4", "seat": "hexagon"}, "a seat is for a screw that slides through"),
        ({"seat": "hexagon"}, "a seat is for a screw that slides through"),
        ({"use": "slides", "screw": "M4", "seat_on": "plane 1"}, "none is asked for"),
        ({"use": "slides", "screw": "M4", "seat": "hexagon", "seat_on": "the top"}, "seat_on is 'the top'"),
        ({"use": "slides", "screw": "M4", "seat": "round"}, "hexagon"),
    ],
)
def test_a_seat_that_makes_no_sense_is_told(keys: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        SheetRow(name="screw", kind="bore", **keys)


def test_a_screw_without_a_seat_in_the_rules_is_told_with_what_there_is() -> None:
    with pytest.raises(UnknownName, match="no seat 'hexagon' for 'M12'") as caught:
        seat(screw="M12", seat="hexagon")
    assert "M3, M4, M5, M6, M8, M10" in str(caught.value)


def test_a_seat_of_the_rules_says_how_deep_it_is_unless_it_is_a_cone() -> None:
    figures = {"screw": "M4", "across_mm": 7, "clearance_mm": 0.2, "least_floor_mm": 1, "source": "made up"}
    with pytest.raises(ValidationError, match="does not say how deep"):
        SeatSize(form="hexagon", **figures)
    with pytest.raises(ValidationError, match="as deep as its width makes it"):
        SeatSize(form="countersunk", height_mm=2, **figures)


def test_a_print_s_row_has_no_seat_to_be_cut() -> None:
    sheet = one_row_sheet(SheetRow(**SLIDING, screw="M4", seat="hexagon", seat_on="plane 1"))
    row = sheet_of_print(sheet, RULES, filament_for(sheet, RULES, "PETG"), None).rows[0]
    assert (row.seat, row.seat_on, row.use, row.nominal) == (None, None, None, 4.5)
