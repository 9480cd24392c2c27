"""Which axis a bore is rebuilt on, by faces and bores of known doubt."""

import numpy as np
import pytest

from verifier.correcting.bores_axis import rebuilding_axis
from verifier.finding.feature import Cylinder, Plane

NO_FACES = np.zeros(0, dtype=np.int64)


def leaning(degrees: float) -> np.ndarray:
    return np.array([np.sin(np.radians(degrees)), 0.0, np.cos(np.radians(degrees))])


def hole(lean_deg: float, u_deg: float, *, up: bool = True) -> Cylinder:
    axis = leaning(lean_deg) if up else -leaning(lean_deg)
    return Cylinder(
        "bore 1", "bore", np.zeros(3), axis, 6.0, 6.0, 0.0, 360.0, 8.0, True, "own", 0.01, 0.005, 0.005,
        np.radians(u_deg), 500, NO_FACES,
    )  # fmt: skip


def face(lean_deg: float, u_deg: float, name: str = "plane 1") -> Plane:
    at = np.zeros((1, 3))
    return Plane(name, leaning(lean_deg), at[0], 900.0, 0.01, 0.02, 0.002, np.radians(u_deg), 4000, NO_FACES, at)


def lean_of(axis: np.ndarray) -> float:
    return float(np.degrees(np.arccos(np.clip(axis[2], -1.0, 1.0))))


def test_an_axis_that_chance_may_have_turned_is_square_to_the_face():
    assert lean_of(rebuilding_axis(hole(0.4, 0.2), [face(0.0, 0.01)])) == pytest.approx(0.0, abs=1e-9)


def test_it_goes_on_looking_the_way_it_looked():
    assert rebuilding_axis(hole(0.4, 0.2, up=False), [face(0.0, 0.01)])[2] == pytest.approx(-1.0, abs=1e-12)


def test_a_bore_that_leans_for_certain_stays_leaning():
    assert lean_of(rebuilding_axis(hole(2.0, 0.2), [face(0.0, 0.01)])) == pytest.approx(2.0, abs=1e-9)


def test_a_wall_that_is_surer_than_the_face_keeps_its_own_axis():
    assert lean_of(rebuilding_axis(hole(0.02, 0.02), [face(0.0, 0.1)])) == pytest.approx(0.02, abs=1e-9)


def test_of_two_faces_the_better_known_one_counts():
    faces = [face(0.1, 0.05), face(0.0, 0.01, "plane 2")]
    assert lean_of(rebuilding_axis(hole(0.3, 0.2), faces)) == pytest.approx(0.0, abs=1e-9)


def test_without_faces_the_axis_is_its_own():
    bore = hole(0.3, 0.2)
    assert np.array_equal(rebuilding_axis(bore, []), bore.axis)
