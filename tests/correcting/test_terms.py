import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats

from tests.correcting.bench import shop
from verifier.correcting.evidence import Evidence
from verifier.correcting.least_squares import weighted_least_squares
from verifier.correcting.observations import readings_of
from verifier.correcting.terms import can_separate, correlation, fit_terms

EXPECTED = shop().acceptance.expectation


def evidence(reading: list[float], walls: list[int], measured: list[float], u: float | list[float] = 0.02) -> Evidence:
    names = tuple(f"row {i}" for i in range(len(reading)))
    us = np.broadcast_to(np.asarray(u, dtype=float), len(reading)).copy()
    return Evidence(names, np.array(measured), np.array(reading), np.array(walls, dtype=float), us)


def test_clean_sizes_give_scale_and_coat_to_the_last_digits() -> None:
    """scale 1.002, coat 0.030: outside 20 -> 20.10, outside 50 -> 50.16, pitch 100 -> 100.20, bore 10 -> 9.96."""
    found = fit_terms(evidence([20, 50, 100, 10], [2, 2, 0, -2], [20.10, 50.16, 100.20, 9.96]), EXPECTED)
    assert found.separable
    assert found.scale == pytest.approx(1.002, abs=1e-12)
    assert found.coat_mm == pytest.approx(0.030, abs=1e-12)


SIX = evidence(
    [20, 50, 100, 10, 8, 120],
    [2, 2, 0, -2, -2, 2],
    [20.102, 50.158, 100.199, 9.962, 7.954, 120.301],
    [0.02, 0.02, 0.03, 0.03, 0.03, 0.04],
)


def test_weighted_sizes_under_one_even_coat_give_the_figures_of_sixty_digit_arithmetic() -> None:
    seen = readings_of(SIX)
    even = np.column_stack([seen.design[:, 0], seen.design[:, 1] + seen.design[:, 2]])
    found = weighted_least_squares(even, seen.values, seen.u)
    u_scale, u_coat = np.sqrt(np.diag(found.covariance))
    assert found.coefficients == pytest.approx([1.0019903862925, 0.030180710615989], rel=1e-9)
    assert u_scale == pytest.approx(0.000219253466561, rel=1e-9)
    assert u_coat == pytest.approx(0.00649481442041, rel=1e-9)
    assert found.covariance[0, 1] / (u_scale * u_coat) == pytest.approx(-0.494722441631, rel=1e-9)
    assert (found.chi2, found.dof) == (pytest.approx(0.0286526215356, rel=1e-9), 4)


def test_a_coat_of_its_own_inside_is_what_an_error_common_to_all_inside_walls_would_be() -> None:
    """Generalised least squares of two terms, with that share of the coat as a covariance of the inside walls."""
    found = fit_terms(SIX, EXPECTED)
    inside = SIX.inside_walls
    shared = (0.5 * found.coat_mm) ** 2 * np.outer(inside, inside)
    weight = np.linalg.inv(np.diag(SIX.u_mm**2) + shared)
    design = np.column_stack([SIX.reading_mm, SIX.walls])
    covariance = np.linalg.inv(design.T @ weight @ design)
    # The share is taken of the coat of the round before, which has settled to a hundredth.
    assert [found.scale, found.coat_mm] == pytest.approx(covariance @ design.T @ weight @ SIX.measured_mm, rel=1e-4)
    assert found.covariance[:2, :2] == pytest.approx(covariance, rel=1e-2)
    assert found.dof == 4


@given(coat=floats(0.02, 0.12), share=floats(0.0, 1.0))
def test_where_powder_lies_thinner_inside_both_coats_come_back(coat: float, share: float) -> None:
    """From readings without error; how thick it should lie inside has next to no say beside them."""
    reading, walls = np.array([82.0, 54.0, 28.0, 8.0, 6.0, 10.0]), np.array([2, 0, 2, 2, -2, -2])
    measured = 1.002 * reading + np.where(walls > 0, coat, share * coat) * walls
    found = fit_terms(evidence(list(reading), list(walls), list(measured), 1e-6), EXPECTED)
    assert found.coat_mm == pytest.approx(coat, abs=1e-6)
    assert found.coat_inside_mm == pytest.approx(share * coat, abs=1e-6)


@given(scale=floats(0.97, 1.03), coat=floats(-0.05, 0.2))
def test_any_scale_and_coat_come_back(scale: float, coat: float) -> None:
    reading, walls = np.array([82.0, 54.0, 8.0, 6.0]), np.array([2, 0, 2, -2])
    found = fit_terms(evidence(list(reading), list(walls), list(scale * reading + walls * coat)), EXPECTED)
    assert found.scale == pytest.approx(scale, abs=1e-12)
    assert found.coat_mm == pytest.approx(coat, abs=1e-10)


@given(k=floats(0.1, 10.0))
def test_a_part_k_times_as_large_has_the_same_scale_and_k_times_the_coat(k: float) -> None:
    reading, walls = np.array([82.0, 54.0, 8.0, 6.0]), [2, 0, 2, -2]
    measured = np.array([82.31, 54.15, 8.11, 5.93])
    one = fit_terms(evidence(list(reading), walls, list(measured)), EXPECTED)
    other = fit_terms(evidence(list(k * reading), walls, list(k * measured), 0.02 * k), EXPECTED)
    assert other.scale == pytest.approx(one.scale, rel=1e-12)
    assert other.coat_mm == pytest.approx(k * one.coat_mm, rel=1e-8, abs=1e-12)


@pytest.mark.parametrize(
    ("reading", "walls"),
    [([50, 52, 55], [2, 2, 2]), ([54, 30, 12], [0, 0, 0]), ([82, 6], [2, -2]), ([82], [2]), ([], [])],
)
def test_sizes_of_one_length_or_kind_or_too_few_cannot_be_separated(reading: list[float], walls: list[int]) -> None:
    few = evidence(reading, walls, reading)
    assert not can_separate(few)
    assert not fit_terms(few, EXPECTED).separable


def test_three_outside_sizes_of_nearly_one_length_are_the_same_column_twice() -> None:
    assert correlation(evidence([50, 52, 55], [2, 2, 2], [50, 52, 55])) == pytest.approx(-0.9993, abs=1e-3)


def test_without_any_reading_the_expectation_comes_back_with_its_own_uncertainty() -> None:
    found = fit_terms(evidence([], [], []), EXPECTED)
    assert (found.scale, found.coat_mm) == (pytest.approx(1.0, abs=1e-15), pytest.approx(0.02, abs=1e-15))
    # Inside it is as unsure as on the faces, and by half of it more.
    assert np.sqrt(np.diag(found.covariance)) == pytest.approx([0.005, 0.02, np.hypot(0.02, 0.01)], rel=1e-12)


def test_uncertainties_are_enlarged_by_the_scatter_and_never_made_smaller() -> None:
    reading, walls = [82.0, 54.0, 8.0, 10.0, 6.0, 28.0], [2, 0, 2, -2, -2, 2]
    scatter = np.array([0.05, -0.06, 0.05, 0.06, -0.05, -0.06])
    noisy = fit_terms(evidence(reading, walls, list(np.array(reading) + scatter)), EXPECTED)
    quiet = fit_terms(evidence(reading, walls, reading), EXPECTED)
    assert noisy.understatement == pytest.approx(np.sqrt(noisy.chi2 / 4), rel=1e-12)
    assert noisy.understatement > 2.0
    assert noisy.t_dof == 4
    assert (quiet.understatement, quiet.t_dof) == (1.0, np.inf)
