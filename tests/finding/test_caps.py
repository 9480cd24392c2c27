"""Crests of what a flat foot comes to rest on."""

from types import SimpleNamespace

import numpy as np
import pytest

from verifier.finding.caps import crest_of_cap
from verifier.finding.feature import Noise

UP = np.array((0.0, 0.0, 1.0))
QUIET = Noise(white_mm=0.005, correlated_mm=0.005, correlation_mm=1.0)


def dish(height_of_rim_mm: float) -> SimpleNamespace:
    """A round patch of 10 mm radius whose height grows with the fourth power of the radius; nought in the middle."""
    x, y = (axis.ravel() for axis in np.meshgrid(*[np.arange(-10.0, 10.1, 0.5)] * 2))
    radius = np.hypot(x, y)
    points = np.column_stack([x, y, height_of_rim_mm * (radius / 10.0) ** 4])[radius <= 10.0]
    return SimpleNamespace(points_mm=points, chord_mm=np.zeros(len(points)))


def test_a_dome_has_its_crest_in_the_middle():
    dome = dish(-0.3)
    crest = crest_of_cap(dome, np.arange(len(dome.points_mm)), QUIET, UP)
    assert crest.height_mm == pytest.approx(0.0, abs=0.01)


def test_between_two_ribs_there_is_no_crest():
    """The fit's is 0.7 mm over the highest point of either, where nothing is."""
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(-8.0, 8.1, 0.4), np.arange(-0.4, 0.41, 0.1)))
    fall = np.sign(y) * 0.2 * np.abs(y)
    ribs = [np.column_stack([x, side * (20.0 + y), -fall]) for side in (-1.0, 1.0)]
    points = np.concatenate(ribs)
    both = SimpleNamespace(points_mm=points, chord_mm=np.zeros(len(points)))
    assert crest_of_cap(both, np.arange(len(points)), QUIET, UP) is None


def test_a_hollow_that_no_second_order_surface_fits_ends_the_search_and_is_as_unsure_as_it_is_misfitted():
    """Bent flats have such hollows: the search for less of the cap once found no less, for ever."""
    hollow = dish(0.3)
    crest = crest_of_cap(hollow, np.arange(len(hollow.points_mm)), QUIET, UP)
    # A second-order surface through r^4 over a disc is off by up to a sixth of the rim's height: 0.05 mm.
    assert -0.1 < crest.height_mm < 0.3
    assert crest.u_mm > 0.02
