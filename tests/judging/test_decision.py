import numpy as np
import pytest
from hypothesis import given
from hypothesis.strategies import floats

from verifier.judging.decision import conformance_probability, decide

LEAST, GREATEST, U_MM = 19.9, 20.1, 0.02
ONE_SIDED_95 = 1.6448536269514722


@pytest.mark.parametrize(
    ("value", "probability", "proven"),
    [(20.067, 0.95053, True), (20.070, 0.93319, False)],
)
def test_twenty_plus_minus_a_tenth_is_proven_up_to_the_acceptance_limit(
    value: float, probability: float, proven: bool
) -> None:
    """ISO 14253-1: conformity counts as proven from 95 % on; the probability by JCGM 106:2012."""
    assert conformance_probability(value, U_MM, LEAST, GREATEST) == pytest.approx(probability, abs=1e-5)
    assert (decide(value, U_MM, LEAST, GREATEST, ONE_SIDED_95) == "PASS") is proven


@pytest.mark.parametrize(("factor", "probability"), [(ONE_SIDED_95, 0.95), (2.0, 0.97725), (0.0, 0.5), (-2.0, 0.02275)])
def test_the_chance_of_conforming_at_a_distance_from_the_limit(factor: float, probability: float) -> None:
    found = conformance_probability(GREATEST - factor * U_MM, U_MM, LEAST, GREATEST)
    assert found == pytest.approx(probability, abs=1e-5)


def test_far_outside_the_chance_is_small_and_not_zero() -> None:
    """Ten uncertainties above the limit: 7.6e-24 by the normal distribution."""
    assert conformance_probability(GREATEST + 10 * U_MM, U_MM, LEAST, GREATEST) == pytest.approx(7.62e-24, rel=1e-2)


@pytest.mark.parametrize(
    ("value", "verdict"),
    [
        (20.0, "PASS"),
        (20.06, "PASS"),
        (20.0601, "UNDECIDED"),
        (20.1399, "UNDECIDED"),
        (20.1401, "FAIL"),
        (19.85, "FAIL"),
    ],
)
def test_the_guard_band_is_the_expanded_uncertainty_on_both_sides_of_a_limit(value: float, verdict: str) -> None:
    """ILAC-G8:09/2019 with w = U: acceptance limit 20.06 for U = 0.04."""
    assert decide(value - 1e-12, U_MM, LEAST, GREATEST, k=2.0) == verdict


@pytest.mark.parametrize(("k", "share"), [(2.0, 0.0228), (ONE_SIDED_95, 0.05)])
def test_a_part_on_its_limit_is_passed_wrongly_no_oftener_than_stated(k: float, share: float) -> None:
    measured = GREATEST + np.random.default_rng(7).normal(0.0, U_MM, 20_000)
    passed = np.mean([decide(value, U_MM, LEAST, GREATEST, k) == "PASS" for value in measured])
    # 20 000 trials have a standard deviation of 0.0011 and 0.0015.
    assert passed == pytest.approx(share, abs=0.005)


def test_an_uncertainty_as_wide_as_the_tolerance_never_passes() -> None:
    assert all(decide(value, 0.06, LEAST, GREATEST, k=2.0) != "PASS" for value in np.linspace(19.5, 20.5, 101))


@given(value=floats(19.0, 21.0), u=floats(1e-4, 0.2), k=floats(1.0, 3.0))
def test_less_uncertainty_never_turns_a_pass_into_something_else(value: float, u: float, k: float) -> None:
    if decide(value, u, LEAST, GREATEST, k) == "PASS":
        assert decide(value, 0.5 * u, LEAST, GREATEST, k) == "PASS"


@given(value=floats(19.0, 21.0), u=floats(1e-4, 0.2))
def test_the_verdict_is_the_same_mirrored(value: float, u: float) -> None:
    mirrored = LEAST + GREATEST - value
    near_an_edge = min(abs(abs(value - limit) - 2.0 * u) for limit in (LEAST, GREATEST)) < 1e-9
    assert near_an_edge or decide(mirrored, u, LEAST, GREATEST, 2.0) == decide(value, u, LEAST, GREATEST, 2.0)
