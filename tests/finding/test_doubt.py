import numpy as np
import pytest

from verifier.finding.doubt import evenly, fit_covariance, scatter_ratio
from verifier.finding.feature import Noise

from .parts import _shared_scatter


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


@pytest.mark.parametrize("length_mm", [0.5, 2.0])
def test_shared_scatter_over_a_large_face_is_stated_as_large_as_it_comes_out(length_mm):
    """Height, two slopes and a bow of 60 faces of 60 x 30 with 7400 points each, ten times what is looked at."""
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(-30, 30.1, 0.5), np.arange(-15, 15.1, 0.5)))
    points = np.column_stack([x, y, np.zeros_like(x)])
    slope = np.column_stack([np.ones_like(x), x / 30.0, y / 15.0, (x / 30.0) ** 2])
    found = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        scatter = 0.02 * rng.normal(size=len(x)) + 0.02 * _shared_scatter(points, length_mm, rng)
        found.append(np.linalg.lstsq(slope, scatter, rcond=None)[0])
    stated = np.sqrt(np.diag(fit_covariance(slope, points, Noise(0.02, 0.02, length_mm))))
    # Sixty values tell a spread within 9 % (one sigma).
    assert stated == pytest.approx(np.std(found, axis=0), rel=0.27)


def test_a_face_that_scatters_twice_as_much_as_the_noise_says_is_four_times_as_rough():
    rng = np.random.default_rng(4)
    points = np.column_stack([rng.uniform(0, 20, (3000, 2)), np.zeros(3000)])
    slope = np.column_stack([np.ones(3000), points[:, :2]])
    ratio = scatter_ratio(slope, rng.normal(scale=0.06, size=3000), points, Noise(0.03, 0.0, 1.0))
    assert ratio == pytest.approx(4.0, rel=0.2)  # 597 degrees of freedom: 6 %
