import json
from itertools import pairwise
from math import cbrt, sqrt

import pytest
from pydantic import ValidationError

from tests.rulebook.shop import AUTHORITIES, shipped_rules
from verifier.rulebook.tolerance_tables import GeneralRange, GradeRange, range_of

TABLES = shipped_rules().tolerances
IT = {grade: [row.it_um[grade - 5] for row in TABLES.grade] for grade in range(5, 15)}


def test_grades_it5_to_it11_are_those_of_a_table_typed_by_someone_else():
    outside = json.loads((AUTHORITIES / "iso286_grades.json").read_text())
    assert [row.to_mm for row in TABLES.grade] == outside["over_up_to_mm"]
    for grade in range(5, 12):
        assert IT[grade] == outside["IT_um"][str(grade)]


def test_deviations_f_g_p_are_those_of_a_table_typed_by_someone_else():
    outside = json.loads((AUTHORITIES / "iso286_grades.json").read_text())["shaft_deviation_um"]
    ours = TABLES.deviation
    assert [row.f_es_um for row in ours] == outside["f"][: len(ours)]
    assert [row.g_es_um for row in ours] == outside["g"][: len(ours)]
    assert [row.p_ei_um for row in ours] == outside["p"][: len(ours)]


def test_grades_follow_the_unit_formula():
    """ISO 286-1: i = 0.45 cbrt(D) + 0.001 D, IT6 to IT8 = 10, 16, 25 i; a typing error is larger than the rounding."""
    for row in TABLES.grade[1:]:  # up to 3 mm the standard rounds up more
        middle_mm = sqrt(row.over_mm * row.to_mm)
        unit_um = 0.45 * cbrt(middle_mm) + 0.001 * middle_mm
        for grade, factor in zip((6, 7, 8), (10, 16, 25), strict=True):
            assert row.it_um[grade - 5] == pytest.approx(
                factor * unit_um, abs=1.2
            )  # whole micrometres; most: 40 for 38.9
        for grade, factor in zip(range(9, 15), (40, 64, 100, 160, 250, 400), strict=True):
            assert row.it_um[grade - 5] == pytest.approx(factor * unit_um, rel=0.045)  # most: 150 for 143.7


def test_it12_to_it14_are_ten_times_as_wide_as_it7_to_it9():
    """ISO 286-1 (the rule from memory): holds the grades that no outside table here has to those that one has.

    IT11 is left to the outside table: in 3-6 mm it is 75 and not ten times the 8 of IT6.
    """
    for grade in (7, 8, 9):
        assert IT[grade + 5] == [10 * width_um for width_um in IT[grade]]


def test_the_unit_formula_s_worked_example():
    """18-30 mm: D = 23.238, i = 1.3074, 16 i = 20.9, printed as 21."""
    middle_mm = sqrt(18 * 30)
    assert 0.45 * cbrt(middle_mm) + 0.001 * middle_mm == pytest.approx(1.3074, abs=5e-5)
    assert range_of(25.0, TABLES.grade).it_um[7 - 5] == 21


@pytest.mark.parametrize(("size_mm", "grade", "width_um"), [(10.0, 14, 360), (100.0, 14, 870)])
def test_published_spot_values_of_it14(size_mm, grade, width_um):
    assert range_of(size_mm, TABLES.grade).it_um[grade - 5] == width_um


@pytest.mark.parametrize(
    ("size_mm", "f", "m", "c", "v"),
    [
        (0.5, 0.05, 0.1, 0.2, None),
        (3.0, 0.05, 0.1, 0.2, None),
        (6.0, 0.05, 0.1, 0.3, 0.5),
        (30.0, 0.1, 0.2, 0.5, 1.0),
        (30.01, 0.15, 0.3, 0.8, 1.5),
        (400.0, 0.2, 0.5, 1.2, 2.5),
        (1000.0, 0.3, 0.8, 2.0, 4.0),
        (2000.0, 0.5, 1.2, 3.0, 6.0),
        (4000.0, None, 2.0, 4.0, 8.0),
    ],
)
def test_general_tolerances_are_those_of_iso_2768_1(size_mm, f, m, c, v):
    """ISO 2768-1:1989, table 1."""
    row = range_of(size_mm, TABLES.general)
    assert (row.f, row.m, row.c, row.v) == (f, m, c, v)


def test_below_half_a_millimetre_and_above_four_metres_no_general_tolerance_applies():
    assert range_of(0.49, TABLES.general) is None
    assert range_of(4000.1, TABLES.general) is None


def test_every_wider_class_is_wider():
    for row in TABLES.general:
        given = [half for half in (row.f, row.m, row.c, row.v) if half is not None]
        assert all(narrow < wide for narrow, wide in pairwise(given))


def test_a_moulded_size_across_the_parting_has_the_tolerance_of_the_next_range():
    """DIN 16742 TG6: NW of a row is W of the next, so one mistyped figure shows."""
    assert [row.nw_mm for row in TABLES.moulded[:-1]] == [row.w_mm for row in TABLES.moulded[1:]]
    assert len(TABLES.moulded) == 16


@pytest.mark.parametrize(("size_mm", "end_mm"), [(3, 3), (3.001, 6), (30, 30), (50, 50), (80, 80), (80.001, 120)])
def test_a_size_at_the_end_of_a_range_belongs_to_that_range(size_mm, end_mm):
    assert range_of(size_mm, TABLES.grade).to_mm == end_mm


def test_a_table_with_a_gap_is_turned_away():
    gap = [row.model_dump() for row in (TABLES.general[0], TABLES.general[2])]
    with pytest.raises(ValidationError, match="followed by one over 6 mm"):
        TABLES.model_validate(TABLES.model_dump() | {"general": gap})


def test_a_grade_narrower_than_the_one_before_it_is_turned_away():
    widths_um = [4, 6, 10, 14, 25, 40, 60, 100, 14, 250]
    with pytest.raises(ValidationError, match="does not grow"):
        GradeRange(over_mm=0, to_mm=3, it_um=widths_um, source="typed wrong on purpose")


def test_a_range_that_ends_before_it_begins_is_turned_away():
    with pytest.raises(ValidationError, match="not smaller"):
        GeneralRange(over_mm=6, to_mm=3, m=0.1, source="typed wrong on purpose")
