import numpy as np
import pytest

from verifier.finding.robust import spread_mm, tukey_weights


def test_the_spread_of_normal_scatter_is_its_standard_deviation():
    scatter = np.random.default_rng(1).normal(scale=0.02, size=200_000)
    assert spread_mm(scatter) == pytest.approx(0.02, rel=0.01)  # 200 000 points know it to 0.4 %


def test_outliers_do_not_widen_the_spread():
    scatter = np.random.default_rng(2).normal(scale=0.02, size=10_000)
    scatter[:1000] += 5.0
    assert spread_mm(scatter) < 0.025


def test_a_point_beyond_the_biweight_s_reach_weighs_nothing():
    weights = tukey_weights(np.array([0.0, 0.01, -0.01, 0.02, 1.0]), least_spread_mm=0.01)
    assert weights[0] == 1.0
    assert weights[-1] == 0.0
    assert 0.0 < weights[3] < weights[1] < 1.0


def test_should_every_weight_vanish_all_points_count_alike():
    # Two points equally far off with a spread of almost nothing: each is its own outlier.
    weights = tukey_weights(np.array([np.nextafter(0.0, 1.0)] * 2) * 0.0 + [5.0, -5.0], least_spread_mm=1e-9)
    assert (weights > 0.0).all()
