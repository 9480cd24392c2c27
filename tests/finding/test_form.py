"""Forms: what scatter alone makes is none, and a bow, a twist or a dent is found at its size."""

import numpy as np
import pytest
from scipy.stats import chi2

from verifier.finding.feature import Noise
from verifier.finding.form import flatness, smoothed_face, zone_along

from .parts import _shared_scatter

UP = np.array([0.0, 0.0, 1.0])
NOISE = Noise(0.02, 0.02, 1.0)


def face(seed, *, bow_mm=0.0, twist_mm=0.0, dent_mm=0.0):
    """A face 60 x 30 of 0.5 mm spacing with noise A; sizes from peak to valley."""
    x, y = (grid.ravel() for grid in np.meshgrid(np.arange(-30, 30.1, 0.5), np.arange(-15, 15.1, 0.5)))
    rng = np.random.default_rng(seed)
    flat = np.column_stack([x, y, np.zeros_like(x)])
    z = 0.02 * rng.normal(size=len(x)) + 0.02 * _shared_scatter(flat, 1.0, rng)
    z += bow_mm * (1.0 - (x / 30.0) ** 2) + 0.5 * twist_mm * x * y / 450.0
    return np.column_stack([x, y, z - dent_mm * np.exp(-((x - 8.0) ** 2 + y**2) / (2.0 * 2.5**2))])


def test_scatter_alone_is_no_form():
    """Peak to valley of these points is 0.17 mm."""
    found = [flatness(smoothed_face(face(seed), UP, NOISE)) for seed in range(10)]
    # One face in twenty may show what is not there. The largest of all differences over twelve free terms reaches, once
    # in twenty times, the root of chi-square's 95 % point (Scheffe): 4.6 of its own uncertainty.
    assert sum(form.value_mm == 0.0 for form in found) >= 8
    assert all(form.value_mm <= np.sqrt(chi2.ppf(0.95, 12)) * form.u_mm for form in found)


@pytest.mark.parametrize("how", [{"bow_mm": 0.2}, {"twist_mm": 0.2}, {"dent_mm": 0.2}])
def test_a_bow_a_twist_and_a_dent_of_a_fifth_of_a_millimetre_are_found_at_their_size(how):
    found = [flatness(smoothed_face(face(seed, **how), UP, NOISE)) for seed in (1, 2, 3)]
    # A mean over 2.4 mm sees a dent 6 mm across 6 % shallower; the scatter of the fit is 0.02 mm.
    assert np.mean([form.value_mm for form in found]) == pytest.approx(0.2, abs=0.025)
    assert all(abs(form.value_mm - 0.2) < 2.5 * form.u_mm + 0.012 for form in found)


def test_the_least_zone_of_a_twist_lies_between_planes_of_any_tilt():
    """Without scatter: a saddle x y / 450 over 60 x 30 reaches from -1 to 1, and no tilt makes that less."""
    points = face(1, twist_mm=0.2)
    points[:, 2] = 0.1 * points[:, 0] * points[:, 1] / 450.0 + 0.05 * points[:, 0]
    tilt = np.array([-0.05, 0.0, 1.0]) / np.hypot(0.05, 1.0)
    assert flatness(smoothed_face(points, tilt, Noise(1e-6, 1e-6, 1.0))).value_mm == pytest.approx(0.2, abs=1e-3)


def test_a_face_askew_to_its_datum_lies_in_a_zone_as_wide_as_its_rise():
    points = face(4)
    points[:, 2] += 0.004 * points[:, 0]
    form = zone_along(smoothed_face(points, UP, NOISE), UP, 0.0)
    assert form.value_mm == pytest.approx(0.24, abs=2.0 * form.u_mm)
    assert abs(form.points_mm[1, 0] - form.points_mm[0, 0]) == pytest.approx(60.0, abs=4.0)
