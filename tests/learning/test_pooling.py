"""Several prints pooled: published values, laws, and how often the interval holds the truth."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from prints import BENCH_220, PETG, kept, printed, series
from scipy import stats

from verifier.learning.figures import figures_of
from verifier.learning.pooling import pool
from verifier.learning.terms import Term

# Colditz et al., JAMA 271, 698 (1994): 13 trials, ill and healthy among the vaccinated, ill and healthy among the rest.
TRIALS = np.array(
    [[4, 119, 11, 128], [6, 300, 29, 274], [3, 228, 11, 209], [62, 13536, 248, 12619], [33, 5036, 47, 5761],
     [180, 1361, 372, 1079], [8, 2537, 10, 619], [505, 87886, 499, 87892], [29, 7470, 45, 7232],
     [17, 1699, 65, 1600], [186, 50448, 141, 27197], [5, 2493, 3, 2338], [27, 16886, 29, 17825]], dtype=float
)  # fmt: skip


def test_the_variance_between_is_that_of_the_thirteen_trials():
    """Paule-Mandel estimate of the log risk ratios of the 13 trials, 0.3181, as statistics packages print it."""
    ill, healthy, ill_rest, healthy_rest = TRIALS.T
    ratio = np.log(ill / (ill + healthy)) - np.log(ill_rest / (ill_rest + healthy_rest))
    u = np.sqrt(1 / ill - 1 / (ill + healthy) + 1 / ill_rest - 1 / (ill_rest + healthy_rest))
    pooled = pool([Term(value, sigma) for value, sigma in zip(ratio, u, strict=True)])
    assert pooled.between**2 == pytest.approx(0.3181, abs=0.00005)  # half the last printed digit


@given(st.lists(st.floats(-0.01, 0.02), min_size=2, max_size=8), st.floats(0.0001, 0.001))
def test_prints_of_equal_weight_have_the_interval_of_student(values, u):
    """With equal uncertainties the pooled figure is the mean, its interval t s / sqrt(k) (JCGM 100:2008, G.3)."""
    pooled = pool([Term(value, u) for value in values])
    k = len(values)
    student = stats.t.isf(0.025, k - 1) * np.std(values, ddof=1) / np.sqrt(k)
    assert pooled.value == pytest.approx(np.mean(values), abs=1e-9)
    assert pooled.half_width == pytest.approx(max(student, 2 * u / np.sqrt(k)), rel=1e-6, abs=1e-12)


@given(st.permutations(range(5)))
def test_the_order_of_the_prints_changes_nothing(order):
    terms = [Term(0.003 + 0.0002 * k, 0.0001 * (1 + k)) for k in range(5)]
    one, other = pool(terms), pool([terms[k] for k in order])
    assert (one.value, one.half_width, one.between) == pytest.approx((other.value, other.half_width, other.between))


def test_one_print_alone_is_not_pooled():
    assert pool([Term(0.003, 0.0001)]) is None


def test_two_prints_that_agree_by_chance_are_not_believed_beyond_their_readings():
    pooled = pool([Term(0.003, 0.0002), Term(0.003, 0.0002)])
    assert pooled.half_width == pytest.approx(2 * 0.0002 / np.sqrt(2))


def test_over_500_series_the_interval_holds_the_true_shrinkage_94_to_97_times_in_a_hundred():
    """Fresh seed 777001; 2 to 8 prints a series, print to print 0.01 to 0.05 %."""
    rng = np.random.default_rng(777001)
    inside = []
    for _ in range(500):
        mean = (rng.normal(0.003, 0.001), rng.normal(0.0015, 0.001), rng.normal(0.2, 0.05), rng.normal(0.0, 0.02))
        between = (rng.uniform(0.0001, 0.0005), 0.0004, 0.015, 0.005)
        parts = rng.choice(["latch_lever", "seat_armrest"], rng.integers(2, 9))
        truths = series(rng, len(parts), mean, between)
        prints = [
            kept(k + 1, printed(part, truth, rng)) for k, (part, truth) in enumerate(zip(parts, truths, strict=True))
        ]
        pooled = figures_of(PETG, BENCH_220, prints, 0.01).known["shrink_xy"].pooled
        inside.append(abs(pooled.value - mean[0]) <= pooled.half_width)
    assert 0.94 <= np.mean(inside) <= 0.97
