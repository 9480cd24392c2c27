import numpy as np
import pytest

from tests.correcting.bench import LEVER, SCAN_U_MM, Row, shop
from verifier.correcting.evidence import Evidence
from verifier.correcting.misreadings import critical_z, find_misread, smallest_errors_mm
from verifier.correcting.terms import fit_terms

RULES = shop()
EXPECTED = RULES.acceptance.expectation
FAMILY_ERROR = RULES.acceptance.decision.family_error
# Scan 0.015 and calliper 0.025, as an average digital calliper in an unpractised hand.
READ_U_MM = 0.025
SIZE_U_MM = float(np.hypot(SCAN_U_MM, READ_U_MM))


def readings(part: tuple[Row, ...], chance: np.random.Generator, noise: float = 1.0) -> Evidence:
    """One scan with 0.4 % of scale and 0.04 of coat, read with random errors of the stated size (times noise)."""
    true = np.array([row.true_mm for row in part])
    walls = np.array([row.walls for row in part], dtype=float)
    measured = 1.004 * true + 0.04 * walls + chance.normal(0, noise * SCAN_U_MM, len(part))
    read = true + chance.normal(0, noise * READ_U_MM, len(part))
    return Evidence(tuple(row.name for row in part), measured, read, walls, np.full(len(part), SIZE_U_MM))


def with_error(evidence: Evidence, row: int, error_mm: float) -> Evidence:
    read = evidence.reading_mm.copy()
    read[row] += error_mm
    return Evidence(evidence.names, evidence.measured_mm, read, evidence.walls, evidence.u_mm)


def shares(part: tuple[Row, ...], error_mm: float, trials: int = 400) -> tuple[float, float, float]:
    """How often the wrong reading alone is named, it is one of several to read again, a sound one is blamed."""
    chance = np.random.default_rng(20)
    named = among = blamed = 0
    for trial in range(trials):
        wrong = part[trial % len(part)].name
        evidence = with_error(readings(part, chance), trial % len(part), error_mm)
        groups = find_misread(evidence, EXPECTED, FAMILY_ERROR).groups
        questioned = {name for group in groups for name in group}
        named += questioned == {wrong}
        among += wrong in questioned and questioned != {wrong}
        blamed += bool(questioned) and wrong not in questioned
    return named / trials, among / trials, blamed / trials


# Eight rows with two long sizes, so that each is checked by the others.
CHECKED = (*LEVER[:1], Row("second length", "overall", 76.0, 2), *LEVER[1:6], LEVER[6])


def test_one_of_eight_readings_off_by_two_tenths_is_named() -> None:
    named, _, blamed = shares(CHECKED, 0.2)
    assert named >= 0.95
    assert blamed <= 0.01


def test_one_of_five_off_by_two_tenths_is_named_or_asked_for_among_others() -> None:
    named, among, blamed = shares((LEVER[0], *LEVER[1:5]), 0.2)
    assert named + among >= 0.85
    assert among > 0.1  # five rows often leave two that could both be the wrong one
    assert blamed <= 0.02


@pytest.mark.parametrize("part", [CHECKED, LEVER[:5]])
def test_a_sound_sheet_is_questioned_in_one_case_of_a_hundred(part: tuple[Row, ...]) -> None:
    chance = np.random.default_rng(21)
    questioned = sum(bool(find_misread(readings(part, chance), EXPECTED, FAMILY_ERROR).groups) for _ in range(600))
    # The family-wise error is 1 %; 600 trials give 6 with a standard deviation of 2.4.
    assert questioned <= 13


def test_two_of_twelve_wrong_readings_are_both_named() -> None:
    part = (*CHECKED, *(Row(f"more {i}", "overall", 15.0 + 9 * i, 2) for i in range(4)))
    chance = np.random.default_rng(22)
    questioned = exact = 0
    for trial in range(200):
        evidence = with_error(with_error(readings(part, chance), trial % 12, 0.3), (trial + 5) % 12, -0.3)
        named = {name for group in find_misread(evidence, EXPECTED, FAMILY_ERROR).groups for name in group}
        wrong = {part[trial % 12].name, part[(trial + 5) % 12].name}
        questioned += wrong <= named
        exact += wrong == named
    assert questioned / 200 >= 0.95
    assert exact / 200 >= 0.85


def test_no_more_than_a_quarter_of_the_rows_is_left_out_one_by_one() -> None:
    chance = np.random.default_rng(23)
    evidence = readings(CHECKED, chance)
    for row, error in ((1, 0.5), (3, -0.8), (5, 0.6), (7, -0.9)):
        evidence = with_error(evidence, row, error)
    groups = find_misread(evidence, EXPECTED, FAMILY_ERROR).groups
    assert len(groups) <= 2


def test_exchanged_digits_are_named_even_where_scale_and_coat_cannot_be_separated() -> None:
    """Three outside sizes of one length: the shop's expectation shows that 25 for 52 cannot be."""
    reading, walls = np.array([50.0, 25.0, 55.0]), np.array([2.0, 2.0, 2.0])
    evidence = Evidence(("a", "b", "c"), np.array([50.1, 52.1, 55.1]), reading, walls, np.full(3, SIZE_U_MM))
    misread = find_misread(evidence, EXPECTED, FAMILY_ERROR)
    assert misread.groups == (("b",),)
    assert list(misread.sound) == [True, False, True]


def test_readings_that_all_scatter_too_much_are_not_called_misread_one_by_one() -> None:
    chance = np.random.default_rng(24)
    blamed = sum(
        bool(find_misread(readings(CHECKED, chance, noise=2.0), EXPECTED, FAMILY_ERROR).groups) for _ in range(200)
    )
    # By the stated uncertainty alone it would be 0.55.
    assert blamed / 200 <= 0.47


def test_an_error_of_the_smallest_size_stated_is_found_in_nineteen_cases_of_twenty() -> None:
    chance = np.random.default_rng(25)
    row, found = 2, 0
    for _ in range(400):
        evidence = readings(CHECKED, chance)
        terms = fit_terms(evidence, EXPECTED)
        smallest = smallest_errors_mm(evidence, terms, FAMILY_ERROR)[row]
        z = fit_terms(with_error(evidence, row, smallest), EXPECTED).z[row]
        found += abs(z) > critical_z(len(evidence), FAMILY_ERROR)
    # 400 trials at 0.95 have a standard deviation of 0.011.
    assert found / 400 == pytest.approx(0.95, abs=0.035)


def test_a_single_long_size_can_hide_an_error_that_two_long_ones_show() -> None:
    one = LEVER[:1] + LEVER[2:5]
    two = (LEVER[0], Row("second length", "overall", 76.0, 2), *LEVER[2:5])
    chance = np.random.default_rng(26)
    hidden, shown = (
        smallest_errors_mm(evidence, fit_terms(evidence, EXPECTED), FAMILY_ERROR)[0]
        for evidence in (readings(one, chance), readings(two, chance))
    )
    assert hidden > 0.5
    assert shown < 0.25
