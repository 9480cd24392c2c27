import numpy as np

from verifier.joining.laid_together import moved, placed
from verifier.joining.posed import Posed
from verifier.mesh import Mesh
from verifier.reading.scan import LengthUnit, Scan, Source


def scan_of(mesh: Mesh) -> Scan:
    return Scan(mesh, LengthUnit("mm", 1.0, "file"), Source("feed_bin_lid.1.ply", "0" * 64, 1, "PLY"))


SQUARE = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))


def test_a_scan_goes_to_its_pose_and_the_identity_keeps_every_bit():
    pose = np.eye(4)
    pose[:3, 3] = 0.1, 0.2, 0.3
    both = np.ones(2, dtype=bool)
    assert np.array_equal(placed(Posed(scan_of(SQUARE), np.eye(4), both)).vertices_mm, SQUARE.vertices_mm)
    assert np.array_equal(placed(Posed(scan_of(SQUARE), pose, both)).vertices_mm, SQUARE.vertices_mm + pose[:3, 3])


def test_trimmed_faces_and_their_corners_are_left_out():
    one = placed(Posed(scan_of(SQUARE), np.eye(4), np.array([True, False])))
    assert len(one.faces) == 1
    assert len(one.vertices_mm) == 3


def test_a_turn_by_a_right_angle_about_z_takes_x_to_y():
    pose = np.array([[0.0, -1, 0, 0], [1, 0, 0, 0], [0, 0, 1, 5], [0, 0, 0, 1]])
    assert np.allclose(moved(np.array([[1.0, 0, 0]]), pose), [[0, 1, 5]], atol=1e-15)
