"""Rectangles of bores and planes of symmetry, on parts drawn by hand as found features."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from tests.measuring.parts import Hole, PartPlan, box_faces, scan
from verifier.finding.patterns import find_rectangles
from verifier.finding.symmetry import find_symmetries

CORNERS = ((-20.0, -12.0), (20.0, -12.0), (20.0, 12.0), (-20.0, 12.0))


def bores(spots, diameter=5.5):
    return tuple(Hole(f"bolt {k}", x, y, diameter) for k, (x, y) in enumerate(spots))


def found(holes, *, seed=1, turn=None, faces=(), noisy=True):
    return scan(PartPlan(holes, faces), np.random.default_rng(seed), turn=turn, noisy=noisy).features


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.98, 1.02))
def test_four_equal_bores_are_a_rectangle_in_any_pose_and_its_pitches_scale(seed, scale):
    turn = Rotation.random(random_state=seed)
    part = PartPlan((*bores(CORNERS), Hole("pivot", 3.0, 1.0, 9.0)))
    features = scan(part, np.random.default_rng(seed), scale=scale, turn=turn).features
    (rectangle,) = find_rectangles(features.cylinders)
    # A pitch is the mean of two sides, each between places known to 0.007 a way: four of 0.007 are never reached.
    assert rectangle.long_mm == pytest.approx(40.0 * scale, abs=0.03)
    assert rectangle.short_mm == pytest.approx(24.0 * scale, abs=0.03)
    assert rectangle.u_long_mm == pytest.approx(0.01 / np.sqrt(2.0), rel=1e-6)
    assert abs(rectangle.along @ turn.apply([1.0, 0.0, 0.0])) == pytest.approx(1.0, abs=1e-5)
    assert len(set(rectangle.bores)) == 4


def test_a_rectangle_of_30_by_31_is_no_square_and_one_bore_a_millimetre_off_is_none():
    spots = [(0.0, 0.0), (31.0, 0.0), (31.0, 30.0), (0.0, 30.0)]
    (rectangle,) = find_rectangles(found(bores(spots), noisy=False).cylinders)
    assert (rectangle.long_mm, rectangle.short_mm) == (pytest.approx(31.0), pytest.approx(30.0))
    assert find_rectangles(found(bores([*spots[:3], (1.0, 30.0)])).cylinders) == ()
    assert find_rectangles(found(bores(spots[:3])).cylinders) == ()


def test_a_bore_of_another_size_is_in_no_rectangle():
    holes = (*bores(CORNERS[:3]), Hole("odd", *CORNERS[3], 6.0))
    assert find_rectangles(found(holes).cylinders) == ()


def test_the_long_pitch_runs_between_the_first_two_bores():
    features = found(bores(CORNERS), noisy=False)
    (rectangle,) = find_rectangles(features.cylinders)
    at = {cylinder.name: cylinder.axis_point_mm for cylinder in features.cylinders}
    a, b, c, d = (at[name] for name in rectangle.bores)
    assert np.linalg.norm(b - a) == pytest.approx(40.0)
    assert np.linalg.norm(c - b) == pytest.approx(24.0)
    assert np.linalg.norm(d - a) == pytest.approx(24.0)


def test_a_plate_with_a_rectangle_of_bores_has_its_three_planes_of_symmetry_and_loses_two_with_a_bore():
    turn = Rotation.from_rotvec([0.3, 0.5, -0.2])
    whole = found(bores(CORNERS), faces=box_faces(60.0, 36.0, 8.0), turn=turn)
    planes = find_symmetries(whole.planes, whole.cylinders)
    normals = np.abs(np.array([each.normal for each in planes]) @ turn.as_matrix())
    assert sorted(np.argmax(normals, axis=1)) == [0, 1, 2]
    assert all(each.off_mm < 0.1 for each in planes)
    less = replace(whole, cylinders=whole.cylinders[1:])
    (left,) = find_symmetries(less.planes, less.cylinders)
    assert abs(left.normal @ turn.apply([0.0, 0.0, 1.0])) == pytest.approx(1.0, abs=1e-4)


def test_a_bore_out_of_the_middle_leaves_the_one_plane_through_it():
    part = found((Hole("pin", 18.0, 0.0, 4.0),), faces=box_faces(60.0, 36.0, 8.0))
    planes = find_symmetries(part.planes, part.cylinders)
    assert sorted(int(np.argmax(np.abs(each.normal))) for each in planes) == [1, 2]


def test_a_lever_with_unlike_bores_is_symmetric_about_the_line_through_both():
    lever = found((Hole("pivot", 0.0, 0.0, 10.0), Hole("pin", 60.0, 0.0, 6.0)), faces=box_faces(80.0, 30.0, 8.0)[2:])
    planes = find_symmetries(lever.planes, lever.cylinders)
    assert sorted(int(np.argmax(np.abs(each.normal))) for each in planes) == [1, 2]
