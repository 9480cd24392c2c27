"""The judge finds every single flaw, also those that only show in the written file."""

import faults
import numpy as np
import pytest
import trimesh

from verifier.mending.check import as_written, is_closed_as_numbered, judge_as_numbered, judge_as_written
from verifier.mesh import Mesh


def cube() -> Mesh:
    box = trimesh.creation.box((10, 10, 10))
    return Mesh(np.array(box.vertices), np.array(box.faces).astype(np.int64))


def two(one: Mesh, shift_mm: tuple[float, float, float]) -> Mesh:
    moved = one.vertices_mm + np.array(shift_mm)
    return Mesh(np.concatenate([one.vertices_mm, moved]), np.concatenate([one.faces, one.faces + len(one.vertices_mm)]))


def test_a_cube_is_sound():
    found = judge_as_written(cube())
    assert found.sound
    assert found.volume_mm3 == pytest.approx(1000.0, abs=1e-9)
    assert found.sentence == "the surface is a closed solid"


def test_a_missing_face_is_found():
    found = judge_as_written(Mesh(cube().vertices_mm, cube().faces[1:]))
    assert not found.sound
    assert found.open_edges == 3


def test_a_face_that_runs_round_the_other_way_is_found():
    found = judge_as_written(faults.with_flipped(cube(), np.arange(12) == 0))
    assert not found.sound
    assert found.open_edges == 3


def test_an_inside_out_cube_is_found_which_the_kernel_accepts():
    found = judge_as_written(faults.inside_out(cube()))
    assert not found.sound
    assert found.volume_mm3 == pytest.approx(-1000.0, abs=1e-9)


def test_a_doubled_surface_is_found():
    found = judge_as_written(Mesh(cube().vertices_mm, np.concatenate([cube().faces, cube().faces])))
    assert not found.sound


def test_cubes_that_touch_in_a_corner_are_found_though_their_corners_are_numbered_apart():
    found = judge_as_written(two(cube(), (10.0, 10.0, 10.0)))
    assert not found.sound
    assert found.split_corners == 1


def test_cubes_that_touch_along_an_edge_are_found_though_their_corners_are_numbered_apart():
    found = judge_as_written(two(cube(), (10.0, 10.0, 0.0)))
    assert not found.sound
    assert found.open_edges > 0


def test_corners_that_rounding_makes_one_are_seen_as_one():
    """A 32-bit float holds 1000 mm to 6e-5 mm; 1e-6 mm apart they are the same corner in the file."""
    mesh = two(cube(), (10.0, 10.0, 10.0 + 1e-6))
    far = Mesh(mesh.vertices_mm + 1000.0, mesh.faces)
    assert len(as_written(far).vertices_mm) == 15
    assert judge_as_written(far).split_corners == 1


def test_a_face_without_area_is_found():
    """One corner of the cube moved onto the middle of a diagonal makes a flat face of three different corners."""
    points = np.array([[0, 0, 0], [2, 0, 0], [1, 0, 0], [0, 2, 0], [1, 1, 3.0]])
    faces = np.array([[0, 2, 1], [0, 3, 4], [3, 1, 4], [0, 1, 3], [0, 4, 2], [2, 4, 1]])
    found = judge_as_written(
        Mesh(points, faces[:, ::-1] if judge_as_written(Mesh(points, faces)).volume_mm3 < 0 else faces)
    )
    assert found.flat_faces == 1
    assert not found.sound


@pytest.mark.parametrize("make", [lambda mesh: mesh, faults.inside_out, lambda mesh: two(mesh, (20.0, 0.0, 0.0))])
def test_whether_a_surface_is_closed_is_told_as_by_the_whole_judgement(make):
    """The whole cube, turned inside out, twice; each with a face missing, and two cubes of one corner."""
    mesh = make(cube())
    open_mesh = Mesh(mesh.vertices_mm, mesh.faces[1:])
    pinched = as_written(two(mesh, (10.0, 10.0, 10.0)))
    for each in (mesh, open_mesh, pinched):
        assert is_closed_as_numbered(each) == judge_as_numbered(each).closed
