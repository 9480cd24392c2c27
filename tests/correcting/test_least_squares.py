"""Certified values: NIST StRD, linear regression (tests/authorities/nist_strd.toml)."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from verifier.correcting.least_squares import LinearFit, weighted_least_squares

AUTHORITIES = Path(__file__).parents[1] / "authorities"
NIST = tomllib.loads((AUTHORITIES / "nist_strd.toml").read_text(encoding="utf-8"))


def design_of(name: str) -> np.ndarray:
    x = np.array(NIST[name]["x"], dtype=float)
    columns = {
        "Norris": lambda: np.column_stack([np.ones(len(x)), x]),
        "NoInt1": lambda: x[:, None],
        "NoInt2": lambda: x[:, None],
        "Wampler1": lambda: x[:, None] ** np.arange(6),
        "Longley": lambda: np.column_stack([np.ones(len(x)), x]),
    }
    return columns[name]()


def fitted(name: str) -> LinearFit:
    return weighted_least_squares(design_of(name), np.array(NIST[name]["y"], dtype=float))


# Relative; the certified values have 15 digits. Longley's columns are so nearly dependent (condition 5e9) that a double
# keeps about 7 digits of them.
@pytest.mark.parametrize(("name", "rel"), [("Norris", 1e-10), ("NoInt1", 1e-10), ("NoInt2", 1e-10), ("Longley", 1e-7)])
def test_a_fit_gives_the_certified_values(name: str, rel: float) -> None:
    fit, certified = fitted(name), NIST[name]
    residual_sd = np.sqrt(fit.chi2 / fit.dof)
    assert fit.coefficients == pytest.approx(certified["coefficients"], rel=rel)
    assert fit.chi2 == pytest.approx(certified["residual_sum_of_squares"], rel=rel)
    assert residual_sd == pytest.approx(certified["residual_standard_deviation"], rel=rel)
    assert residual_sd * np.sqrt(np.diag(fit.covariance)) == pytest.approx(certified["standard_deviations"], rel=rel)


def test_a_polynomial_of_the_fifth_degree_comes_back_as_six_ones() -> None:
    """NIST StRD Wampler1: tests conditioning."""
    fit = fitted("Wampler1")
    assert fit.coefficients == pytest.approx(np.ones(6), rel=1e-7)
    # The largest value is 3.4e6, so a double's own step leaves residuals near 1e-9.
    assert np.sqrt(fit.chi2 / fit.dof) == pytest.approx(0.0, abs=1e-7)


def test_stated_uncertainties_are_not_scaled_by_the_residuals() -> None:
    """Norris with unit weights: covariance recomputed in 60-digit arithmetic."""
    expected = [[6.92384428759429e-02, -9.89095016390515e-05], [-9.89095016390515e-05, 2.35960747164148e-07]]
    assert fitted("Norris").covariance == pytest.approx(np.array(expected), rel=1e-10)


def test_unequal_weights_are_inverse_squares_of_the_uncertainties() -> None:
    """Norris with weights 1/i, i = 1..36: recomputed in 60-digit arithmetic."""
    u = np.sqrt(np.arange(1.0, 37.0))
    fit = weighted_least_squares(design_of("Norris"), np.array(NIST["Norris"]["y"]), u)
    assert fit.coefficients == pytest.approx([-0.163446212405198, 1.00281119529787], rel=1e-10)
    assert fit.chi2 == pytest.approx(1.99817913639398, rel=1e-10)
    assert fit.covariance[0, 0] == pytest.approx(0.455557599849237, rel=1e-10)
    assert fit.covariance[0, 1] == pytest.approx(-0.000683903892389929, rel=1e-10)
    assert fit.covariance[1, 1] == pytest.approx(2.16527758303609e-06, rel=1e-10)


def test_leverages_add_up_to_the_number_of_coefficients() -> None:
    assert fitted("Longley").leverages.sum() == pytest.approx(7.0, abs=1e-6)
    assert fitted("NoInt1").redundancies.sum() == pytest.approx(10.0, abs=1e-12)


def test_an_error_shows_in_its_own_residual_by_the_redundancy() -> None:
    design, observed = design_of("Norris"), np.array(NIST["Norris"]["y"])
    before = weighted_least_squares(design, observed)
    observed[7] += 2.0
    after = weighted_least_squares(design, observed)
    assert after.residuals[7] - before.residuals[7] == pytest.approx(2.0 * before.redundancies[7], rel=1e-9)


@pytest.mark.parametrize("design", [[[1.0, 2.0], [2.0, 4.0], [3.0, 6.0]], [[1.0, 0.0], [2.0, 0.0]], [[1.0, 2.0]]])
def test_dependent_columns_are_refused(design: list[list[float]]) -> None:
    with pytest.raises(np.linalg.LinAlgError):
        weighted_least_squares(np.array(design), np.ones(len(design)))
