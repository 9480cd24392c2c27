import json

import pytest
from hypothesis import given
from hypothesis.strategies import floats, integers, sampled_from

from tests.rulebook.shop import AUTHORITIES, LAW, one_row_sheet
from verifier.errors import RuleMistake
from verifier.rulebook import RowLimits, SheetRow, row_limits
from verifier.rulebook.tolerance_tables import GREATEST_GRADE, LEAST_GRADE

NANOMETRE_UM = 0.001  # limits are rounded to a nanometre

sizes_mm = floats(0.5, 500.0).map(lambda size: round(size, 2))


def limits(
    tolerance: object = None, reading: float = 20.0, kind: str = "thickness", **more: object
) -> RowLimits | None:
    keys = {key: more.pop(key) for key in ("general_tolerance",) if key in more}
    row = SheetRow(name="body", kind=kind, reading=reading, tolerance=tolerance, **more)
    return row_limits(row, one_row_sheet(row, **keys))


def deviations_um(tolerance: str, size_mm: float, kind: str = "thickness") -> tuple[float, float]:
    found = limits(tolerance, size_mm, kind)
    return (found.least - size_mm) * 1000.0, (found.greatest - size_mm) * 1000.0


FITS = [
    (30, "H7", (0, 21), "g6", (-20, -7), (7, 41)),
    (8, "H8", (0, 22), "f7", (-28, -13), (13, 50)),
    (50, "H7", (0, 25), "h6", (-16, 0), (0, 41)),
    (25, "H7", (0, 21), "p6", (22, 35), (-35, -1)),
    (12, "H7", (0, 18), "js6", (-5.5, 5.5), (-5.5, 23.5)),
    (80, "H8", (0, 46), "f7", (-60, -30), (30, 106)),
    (3, "H9", (0, 25), "h9", (-25, 0), (0, 50)),
    (6, "H11", (0, 75), "h11", (-75, 0), (0, 150)),
]


@pytest.mark.parametrize(("size_mm", "hole", "hole_um", "shaft", "shaft_um", "clearance_um"), FITS)
def test_fits_have_the_deviations_and_clearances_of_iso_286(size_mm, hole, hole_um, shaft, shaft_um, clearance_um):
    """ISO 286-1:2010, micrometres; 30, 50, 80, 3 and 6 stand at the end of their ranges."""
    found_hole, found_shaft = deviations_um(hole, size_mm, "bore"), deviations_um(shaft, size_mm, "boss")
    assert found_hole == pytest.approx(hole_um, abs=NANOMETRE_UM)
    assert found_shaft == pytest.approx(shaft_um, abs=NANOMETRE_UM)
    clearance = found_hole[0] - found_shaft[1], found_hole[1] - found_shaft[0]
    assert clearance == pytest.approx(clearance_um, abs=2 * NANOMETRE_UM)


def outside_limits() -> list[tuple[str, float, float, float]]:
    """(class, a size in the range, lower, upper) of every entry of the outside table."""
    rows = []
    for columns in json.loads((AUTHORITIES / "iso286_limits.json").read_text()).values():
        for name, cells in columns.items():
            if name in ("over", "inc."):
                continue
            for upper_mm, cell in zip(columns["inc."], cells, strict=True):
                upper_um, lower_um = (float(text) for text in cell.split("\n"))
                rows.append((name, float(upper_mm), lower_um, upper_um))
    return rows


def test_every_limit_is_that_of_a_table_typed_by_someone_else():
    compared = 0
    for name, size_mm, lower_um, upper_um in outside_limits():
        if name[0] in "fgp" and size_mm > 80:  # our deviations end there
            continue
        kind = "bore" if name[0].isupper() else "boss"
        expected = pytest.approx((lower_um, upper_um), abs=NANOMETRE_UM)
        assert deviations_um(name, size_mm, kind) == expected, (name, size_mm)
        compared += 1
    assert compared == (9 + 11) * 20 + 8 * 8  # H and JS, h and js in all ranges; f, g, p to 80 mm


@LAW
@given(size_mm=sizes_mm, half_mm=floats(0.01, 0.4))
def test_plus_and_minus_lies_evenly_about_the_size(size_mm, half_mm):
    found = limits(half_mm, size_mm)
    assert found.least < size_mm < found.greatest
    assert (found.least + found.greatest) / 2 == pytest.approx(size_mm, abs=1e-6)  # rounded to a nanometre
    assert found.greatest - found.least == pytest.approx(2 * half_mm, abs=2e-6)


@LAW
@given(size_mm=sizes_mm, grade=integers(LEAST_GRADE, GREATEST_GRADE))
def test_it_and_js_lie_evenly_about_the_size_and_are_as_wide_as_h(size_mm, grade):
    evenly, js = limits(f"IT{grade}", size_mm), limits(f"js{grade}", size_mm)
    hole, shaft = limits(f"H{grade}", size_mm), limits(f"h{grade}", size_mm)
    assert (evenly.least, evenly.greatest) == (js.least, js.greatest)
    assert evenly.least < size_mm < evenly.greatest
    assert (hole.least, shaft.greatest) == (size_mm, size_mm)
    width_mm = evenly.greatest - evenly.least
    assert hole.greatest - size_mm == pytest.approx(width_mm, abs=2e-6)
    assert size_mm - shaft.least == pytest.approx(width_mm, abs=2e-6)


@LAW
@given(size_mm=floats(0.5, 80.0).map(lambda size: round(size, 2)), grade=integers(LEAST_GRADE, GREATEST_GRADE))
def test_f_and_g_lie_below_the_size_and_p_above(size_mm, grade):
    assert limits(f"f{grade}", size_mm).greatest < limits(f"g{grade}", size_mm).greatest < size_mm
    assert limits(f"p{grade}", size_mm).least > size_mm


@LAW
@given(size_mm=floats(0.5, 2000.0), letter=sampled_from("mc"))
def test_general_classes_lie_evenly_about_the_size(size_mm, letter):
    found = limits(f"ISO 2768-{letter}", size_mm)
    assert found.least < size_mm < found.greatest


@LAW
@given(smaller=sizes_mm, larger=sizes_mm, grade=integers(LEAST_GRADE, GREATEST_GRADE))
def test_a_larger_size_never_has_a_narrower_grade(smaller, larger, grade):
    small, large = (limits(f"H{grade}", size) for size in sorted((smaller, larger)))
    assert small.greatest - small.least <= large.greatest - large.least + 2e-6  # rounded to a nanometre


def test_a_moulded_size_has_the_tolerance_of_its_column():
    """DIN 16742:2013, TG6, 50 to 80 mm: 0.37 and 0.57."""
    within, across = limits("DIN 16742-TG6 W", 80.0), limits("DIN 16742-TG6 NW", 80.0)
    assert (within.least, within.greatest) == (79.63, 80.37)
    assert (across.least, across.greatest) == (79.43, 80.57)


def test_limits_on_the_sheet_are_taken_as_they_stand_even_without_a_reading():
    row = SheetRow(name="body", kind="thickness", limits=(7.9, 8.2))
    assert row_limits(row, one_row_sheet(row)) == RowLimits(7.9, 8.2, "limits on the sheet")


def test_limits_lie_about_the_nominal_size_where_one_is_given():
    assert (limits(0.15, 9.7, nominal=10.0).least, limits(0.15, 9.7, nominal=10.0).greatest) == (9.85, 10.15)


def test_a_class_is_looked_up_at_the_nominal_size():
    # 30.00 is in 18-30 (+-0.105), the reading 30.02 would be in 30-50 (+-0.125)
    found = limits("IT12", 30.02, nominal=30.0)
    assert (found.least, found.greatest) == (29.895, 30.105)


def test_the_general_tolerance_holds_for_rows_that_give_none():
    assert limits(None, 60.0, general_tolerance="ISO 2768-m").greatest == 60.3
    assert limits(0.1, 60.0, general_tolerance="ISO 2768-m").greatest == 60.1


def test_a_drawing_s_letter_for_flatness_changes_nothing():
    assert limits("ISO 2768-mK", 60.0).greatest == limits("ISO 2768-m", 60.0).greatest


def test_a_row_without_any_tolerance_has_no_limits():
    assert limits(None, 20.0) is None


@pytest.mark.parametrize("tolerance", [0.15, "H11", "ISO 2768-m"])
def test_a_row_that_has_not_been_read_has_no_limits_yet(tolerance):
    row = SheetRow(name="pin", kind="bore", tolerance=tolerance)
    assert row_limits(row, one_row_sheet(row)) is None


def test_an_angle_takes_degrees_and_leaves_the_general_class_to_lengths():
    assert limits(0.5, 90.0, kind="angle").greatest == 90.5
    assert limits(None, 90.0, kind="angle", general_tolerance="ISO 2768-m") is None


def test_the_source_names_the_class_and_where_its_figures_come_from():
    assert limits("H11").source.startswith("H11 (ISO 286-1:2010")
    assert limits("ISO 2768-m").source.startswith("ISO 2768-m (ISO 2768-1:1989")
    assert limits(0.15).source == "+-0.15 on the sheet"


@pytest.mark.parametrize(
    ("tolerance", "reading", "kind", "says"),
    [
        ("H15", 20.0, "bore", "grade 15 is not in the tables"),
        ("H4", 20.0, "bore", "grade 4 is not in the tables"),
        ("f7", 100.0, "boss", "no value for 100 mm"),
        ("H7", 500.1, "bore", "no value for 500.1 mm"),
        ("ISO 2768-v", 2.0, "thickness", "no value for 2 mm"),
        ("ISO 2768-m", 0.4, "thickness", "no value for 0.4 mm"),
        ("ISO 2768-f", 2500.0, "overall", "no value for 2500 mm"),
        ("h11", 6.0, "bore", "is a class for a boss"),
        ("H11", 6.0, "boss", "is a class for a bore"),
        ("+-0.15", 6.0, "bore", "no tolerance class"),
        ("ISO 2768-x", 6.0, "bore", "no tolerance class"),
        ("IT12", 90.0, "angle", "an angle has no tolerance class"),
    ],
)
def test_a_class_that_cannot_be_used_is_a_mistake_and_not_a_guess(tolerance, reading, kind, says):
    with pytest.raises(RuleMistake, match=says) as raised:
        limits(tolerance, reading, kind)
    assert raised.value.do
    assert "row 'body'" in raised.value.where


def test_a_form_is_limited_by_its_greatest_alone():
    row = SheetRow(name="flat", kind="flatness", of="body", tolerance=0.2)
    found = row_limits(row, one_row_sheet(row, general_tolerance="ISO 2768-m"))
    assert (found.least, found.greatest, found.one_sided) == (0.0, 0.2, True)
    assert found.floor == float("-inf")
    assert "at most 0.2" in found.source
    assert limits(0.2).floor == 19.8
