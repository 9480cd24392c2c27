"""Limits of single values and the patterns that chance seldom makes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.remembering.control_chart import BASE_VALUES, D2, chart_of, signals_of

# Flow rates of ten batches, NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_limits_are_those_of_the_handbook_s_flow_rates():
    """NIST/SEMATECH e-Handbook, 6.3.2.2: mean 50.81, moving range 1.8778, limits 45.8159 and 55.8041."""
    chart = chart_of(FLOW)
    assert chart.centre == pytest.approx(50.81, abs=0.005)
    assert chart.sigma * D2 == pytest.approx(1.8778, abs=0.00005)
    assert (chart.lower, chart.upper) == pytest.approx((45.8159, 55.8041), abs=0.0001)
    assert chart.signals == ()


def test_the_limits_lie_at_2_66_moving_ranges():
    """E2 = 2.660 of ISO 7870-2:2013 for n = 2."""
    chart = chart_of(FLOW)
    moving_range = np.abs(np.diff(FLOW)).mean()
    assert (chart.upper - chart.centre) / moving_range == pytest.approx(2.660, abs=0.0005)


@pytest.mark.parametrize(
    ("z", "rule", "at"),
    [
        ([0.1, -0.2, 3.1], 1, 2),
        ([0.1, -3.01], 1, 1),
        ([2.1, 0.3, 2.2], 2, 2),
        ([-2.1, -2.2], 2, 1),
        ([1.1, 1.2, 0.2, 1.3, 1.4], 3, 4),
        ([-1.1, -1.2, -1.3, -1.4], 3, 3),
        ([0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8], 4, 7),
    ],
)
def test_each_pattern_is_told_where_it_becomes_complete(z, rule, at):
    signals = signals_of(np.array(z), 0.0, 1.0)
    assert [(signal.rule, signal.at) for signal in signals] == [(rule, at)]


@pytest.mark.parametrize(
    "z",
    [
        [2.9, -2.9, 0.5],
        [2.1, -2.2, 0.1],
        [1.1, -1.2, 1.3, -1.4, 1.5],
        [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, -0.1],
        [2.1, 0.1, 0.2, 2.2],
    ],
)
def test_what_is_on_both_sides_or_too_far_apart_is_no_pattern(z):
    assert signals_of(np.array(z), 0.0, 1.0) == ()


def test_the_four_tests_alarm_as_seldom_as_published():
    """Champ and Woodall, Technometrics 29, 393 (1987): mean run length without any shift 91.75, with one sigma 9.22."""
    rng = np.random.default_rng(41)
    for shift, published in [(0.0, 91.75), (1.0, 9.22)]:
        lengths = [signals_of(rng.normal(shift, 1.0, 1500), 0.0, 1.0)[0].at + 1 for _ in range(1500)]
        # A run length scatters about as much as it is long: 1500 of them give the mean to 2.6 %; three times that.
        assert np.mean(lengths) == pytest.approx(published, rel=0.08)


@given(st.lists(st.floats(-1.0, 1.0), min_size=8, max_size=40), st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_another_unit_changes_no_pattern(values, factor, offset):
    """Values a rounding away from a line may fall on either side of it."""
    chart = chart_of([round(value, 3) for value in values])
    other = chart_of([factor * round(value, 3) + offset for value in values])
    if chart.sigma > 1e-6:
        lines = (chart.values - chart.centre) / chart.sigma
        if np.all(np.abs(np.abs(lines)[:, None] - np.arange(4.0)) > 1e-6):
            assert chart.signals == other.signals


def test_a_drift_does_not_widen_the_limits_that_should_show_it():
    rng = np.random.default_rng(42)
    values = rng.normal(0.0, 0.02, 40) + np.maximum(0, np.arange(40) - BASE_VALUES) * 0.01
    chart = chart_of(list(values))
    assert chart.base == BASE_VALUES
    assert chart.upper < 0.1
    assert {signal.at for signal in chart.signals} & set(range(30, 40))


def test_fewer_than_eight_values_have_no_limits_and_equal_ones_no_patterns():
    assert chart_of([0.0] * 7) is None
    assert chart_of([0.31] * 12).signals == ()
