import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.spatial.transform import Rotation

from verifier.comparing.pose import angle_between_deg, distinct, inverse, moved, pose_of, turns_about

VECTORS = arrays(float, 3, elements=st.floats(-3, 3))


@given(VECTORS)
def test_turns_about_a_vector_are_those_of_a_second_library(vector):
    assert np.allclose(turns_about(vector), Rotation.from_rotvec(vector).as_matrix(), atol=1e-12)


@given(VECTORS, VECTORS)
def test_the_way_back_ends_where_it_began(vector, shift):
    pose = pose_of(turns_about(vector), shift)
    points = np.arange(12.0).reshape(4, 3)
    assert np.allclose(moved(inverse(pose), moved(pose, points)), points, atol=1e-9)


def test_a_stack_of_poses_moves_points_as_each_pose_alone():
    rng = np.random.default_rng(5)
    poses = pose_of(turns_about(rng.normal(size=(3, 3))), rng.normal(size=(3, 3)))
    points = rng.normal(size=(7, 3))
    assert np.allclose(moved(poses, points), [moved(pose, points) for pose in poses], atol=1e-12)


def test_the_angle_between_poses_is_that_of_the_turn_from_one_to_the_other():
    one, other = (pose_of(turns_about(np.array(v)), np.zeros(3)) for v in ([0.0, 0, 0.2], [0.0, 0, 1.0]))
    assert np.isclose(angle_between_deg(one, other), np.degrees(0.8), atol=1e-9)


def test_of_poses_that_lay_the_part_alike_the_first_is_kept():
    points = np.random.default_rng(6).normal(size=(100, 3)) * 20.0
    poses = np.stack([np.eye(4)] * 3)
    poses[1, 0, 3], poses[2, 0, 3] = 0.3, 2.0  # mm
    assert distinct(poses, points, apart_mm=0.5) == [0, 2]
