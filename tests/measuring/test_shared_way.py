"""Which way a centre distance is seen, and what that leaves unsure where one bore lies higher than the other."""

from dataclasses import replace

import numpy as np
import pytest

from verifier.measuring.cylinders import centre_distance

from .parts import Face, Hole, PartPlan, scan

HIGHER_MM, U_AXIS_RAD = 15.0, np.radians(0.1)
BASE = Face("base", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (80.0, 20.0))


def leaning(lean_deg, faces=(BASE,)):
    """Two bores 60 mm apart, the second 15 mm higher, both found to lean towards it, and the part's faces."""
    features = scan(PartPlan((Hole("a", 0, 0, 8), Hole("b", 60, 0, 5)), faces), np.random.default_rng(1), noisy=False)
    axis = np.array([np.sin(np.radians(lean_deg)), 0.0, np.cos(np.radians(lean_deg))])
    one, other = (replace(bore, axis=axis, u_axis_rad=U_AXIS_RAD) for bore in features.features.bores)
    higher = replace(other, axis_point_mm=other.axis_point_mm + np.array([0.0, 0.0, HIGHER_MM]))
    return centre_distance(one, higher, features.features.planes)


def test_axes_that_views_laid_a_little_wrong_turned_alike_move_no_centre_distance():
    """Along its own axes it would be 0.105 mm short; a part that leans so itself is not ruled out, and u says it."""
    found = leaning(0.4)
    assert found.value == pytest.approx(60.0, abs=1e-9)
    unexplained_rad = np.sqrt((np.radians(0.4) ** 2 - U_AXIS_RAD**2) / 3.0)
    assert found.u == pytest.approx(np.hypot(0.01, HIGHER_MM * unexplained_rad), rel=1e-3)


def test_axes_that_are_square_for_all_the_scan_can_tell_leave_the_places_alone_unsure():
    assert leaning(0.05).u == pytest.approx(0.01, rel=1e-3)


def test_without_a_face_square_to_both_the_lean_of_two_axes_is_not_averaged():
    for lean_deg, faces in ((0.0, ()), (3.0, (BASE,))):
        found = leaning(lean_deg, faces)
        along = 60.0 * np.sin(np.radians(lean_deg)) + HIGHER_MM * np.cos(np.radians(lean_deg))
        assert found.value == pytest.approx(np.sqrt(60.0**2 + HIGHER_MM**2 - along**2), abs=1e-9)
        assert found.u == pytest.approx(np.hypot(0.01, along * U_AXIS_RAD), rel=1e-6)
