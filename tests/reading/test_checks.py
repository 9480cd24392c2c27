"""What must hold of every scan, whichever format it came in."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, ply_text, ring, rules, stl_binary
from verifier.errors import Malformed, NoTriangles, TooLarge
from verifier.mesh import Mesh
from verifier.reading import read_scan
from verifier.reading.checks import checked
from verifier.reading.raw_mesh import RawMesh


def check(vertices, faces):
    return checked(RawMesh(np.asarray(vertices, dtype=float), np.asarray(faces)), "fence_clip.ply", LIMITS)


def without_number(mesh, faces, value):
    """The mesh with its faces' corners apart and one corner of the first so many faces at no place."""
    corners = mesh.corners_mm.copy()
    corners[:faces, 1, 2] = value
    return Mesh(corners.reshape(-1, 3), np.arange(3 * len(corners)).reshape(-1, 3))


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_a_few_triangles_at_no_place_are_left_out_and_counted(dropped, value):
    mesh = ring(40, 20)
    scan = read_scan(dropped(stl_binary(without_number(mesh, 16, value))), rules())
    assert_array_equal(scan.mesh.corners_mm, mesh.corners_mm[16:])
    assert "16 of 1,600 triangles have a corner that is no number and were left out." in scan.notices


def test_more_than_one_in_a_hundred_at_no_place_refuses_the_file(dropped):
    with pytest.raises(Malformed, match="17 of its 1,600 triangles"):
        read_scan(dropped(stl_binary(without_number(ring(40, 20), 17, np.nan))), rules())


def test_points_of_no_triangle_are_left_out_and_said_whatever_their_numbers(dropped):
    mesh = box()
    stray = Mesh(np.concatenate([[[np.nan, 0, 0]], mesh.vertices_mm, [[1e300, 0, np.inf]]]), mesh.faces + 1)
    scan = read_scan(dropped(ply_text(stray), "fence_clip.ply"), rules())
    assert_array_equal(scan.mesh.vertices_mm, mesh.vertices_mm)
    assert_array_equal(scan.mesh.faces, mesh.faces)
    assert "2 points belong to no triangle and were left out." in scan.notices


@pytest.mark.parametrize("corner", [-1, 8, 2**40])
def test_a_corner_that_does_not_exist_is_refused(corner):
    faces = box().faces.copy()
    faces[5, 1] = corner
    with pytest.raises(Malformed, match="does not exist"):
        check(box().vertices_mm, faces)


def test_no_faces_and_faces_without_area_are_refused():
    with pytest.raises(NoTriangles):
        check(box().vertices_mm, np.empty((0, 3), dtype=int))
    with pytest.raises(NoTriangles, match="no area"):
        check([[0, 0, 0], [1, 1, 1], [2, 2, 2]], [[0, 1, 2], [0, 0, 1]])


def test_one_face_with_area_among_flat_ones_is_enough():
    faces = np.concatenate([np.zeros((70_000, 3), dtype=int), [[0, 1, 2]]])
    assert len(check([[0, 0, 0], [30, 0, 0], [0, 30, 0]], faces).faces) == 70_001


def test_a_corner_beyond_any_part_is_refused_in_every_unit(dropped):
    far = box().vertices_mm.copy()
    far[3, 0] = -1.1e7
    with pytest.raises(TooLarge, match="in any unit"):
        check(far, box().faces)


def test_a_corner_beyond_the_limit_is_refused_once_the_unit_is_known(dropped):
    far = Mesh(box().vertices_mm + np.array([0, 9_990, 0]), box().faces)
    with pytest.raises(TooLarge, match="10,001 mm from the origin"):
        read_scan(dropped(stl_binary(far)), rules())
    near = Mesh(box().vertices_mm - np.array([0, 9_980, 0]), box().faces)
    assert len(read_scan(dropped(stl_binary(near)), rules()).mesh.faces) == 12
