import numpy as np
import pytest

from verifier.finding.doubt import evenly, fit_covariance
from verifier.finding.feature import Noise


def test_white_scatter_alone_gives_sigma_over_root_n():
    """JCGM 100:2008, 4.2.3: the standard uncertainty of a mean is s / sqrt(n)."""
    points = np.random.default_rng(3).uniform(0, 50, (2500, 3))
    covariance = fit_covariance(np.ones((2500, 1)), points, Noise(0.05, 0.0, 1.0))
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.05 / 50.0, rel=1e-9)


def test_scatter_all_points_share_is_not_averaged_away():
    points = np.random.default_rng(4).uniform(0, 1, (500, 3))
    covariance = fit_covariance(np.ones((500, 1)), points, Noise(0.0, 0.02, 1000.0))
    assert np.sqrt(covariance[0, 0]) == pytest.approx(0.02, rel=1e-3)


def test_shared_scatter_counts_its_independent_patches():
    """Integral of exp(-r^2 / 2 l^2) over the plane is 2 pi l^2: a large patch holds area / 2 pi l^2 of them."""
    x, y = np.meshgrid(np.arange(0, 40, 1.7), np.arange(0, 40, 1.7))
    points = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    covariance = fit_covariance(np.ones((len(points), 1)), points, Noise(0.0, 0.02, 2.0))
    expected = 0.02 * np.sqrt(2.0 * np.pi * 4.0 / 40.0**2)
    assert np.sqrt(covariance[0, 0]) == pytest.approx(expected, rel=0.08)  # the rim shares less: 2 l / 40 a side


def test_a_draw_of_places_is_always_the_same_one():
    assert (evenly(1000, 50) == evenly(1000, 50)).all()
    assert len(np.unique(evenly(1000, 50))) == 50
    assert (evenly(30, 50) == np.arange(30)).all()
