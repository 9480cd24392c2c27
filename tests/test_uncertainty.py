import numpy as np
import pytest

from verifier.uncertainty import combined, effective_dof, same_coverage_factor, student_factor


def end_gauge() -> tuple[list[float], list[float]]:
    """JCGM 100:2008 example H.1, calibration of a 50 mm end gauge: contributions in nm and their degrees of freedom."""
    d_parts, d_dofs = [5.8, 3.9, 6.7], [24, 5, 8]
    length_nm = 50.000623e6
    contributions = [
        25.0,  # the standard's length
        combined(d_parts),  # the difference of the two gauges
        length_nm * 0.1 * 0.58e-6,  # difference of expansion, at 0.1 K from 20 degrees
        length_nm * 11.5e-6 * 0.029,  # difference of temperature
    ]
    return contributions, [18, effective_dof(d_parts, d_dofs), 50, 2]


def test_the_end_gauge_of_the_guide_has_the_published_uncertainty() -> None:
    """JCGM 100:2008, H.1: u_c = 32 nm, nu_eff = 16.7, t99(16) = 2.92, U99 = 93 nm."""
    contributions, dofs = end_gauge()
    u_c, dof = combined(contributions), effective_dof(contributions, dofs)
    assert dofs[1] == pytest.approx(25.6, abs=0.2)  # published from 9.7 nm rounded, which alone moves it by 0.2
    assert contributions == pytest.approx([25, 9.7, 2.9, 16.6], abs=0.1)
    assert u_c == pytest.approx(31.7, abs=0.1)  # published rounded up, 32
    assert dof == pytest.approx(16.7, abs=0.1)
    factor = student_factor(0.99, np.floor(dof))
    assert factor == pytest.approx(2.92, abs=0.005)
    assert 92.0 < factor * u_c < 93.5


# NIST TN 1297 table B.1, which is JCGM 100:2008 table G.2.
PROBABILITIES = (0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973)
STUDENT = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.80),
    2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22),
    4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51),
    6: (1.09, 1.94, 2.45, 2.52, 3.71, 4.90),
    8: (1.07, 1.86, 2.31, 2.37, 3.36, 4.28),
    10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96),
    20: (1.03, 1.72, 2.09, 2.13, 2.85, 3.42),
    50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16),
    100: (1.005, 1.660, 1.984, 2.025, 2.626, 3.077),
}


@pytest.mark.parametrize("dof", STUDENT)
def test_factors_are_those_of_the_table(dof: int) -> None:
    for probability, published in zip(PROBABILITIES, STUDENT[dof], strict=True):
        # Half the last printed digit, and 2e-4 relative for the probability of 99.73 % itself being rounded.
        digit = 0.0005 if dof == 100 else 0.005
        assert student_factor(probability, dof) == pytest.approx(published, abs=digit + 1e-4 * published)


def test_two_standard_uncertainties_cover_as_much_with_few_degrees_of_freedom() -> None:
    assert same_coverage_factor(2.0, np.inf) == 2.0
    assert same_coverage_factor(2.0, 1e9) == pytest.approx(2.0, abs=1e-6)
    assert same_coverage_factor(2.0, 6) == pytest.approx(2.52, abs=0.005)  # table G.2, 95.45 %


def test_a_contribution_that_is_taken_as_known_takes_no_degrees_of_freedom() -> None:
    assert effective_dof([3.0, 4.0], [np.inf, np.inf]) == np.inf
    assert effective_dof([5.0], [7]) == pytest.approx(7.0)
