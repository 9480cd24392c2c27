"""A part without an underside and without a table: cut off level by the scanner's program."""

import faults
import manifold3d
import numpy as np
import pytest
import trimesh
from test_mend import euler, steps

from verifier.mending import Origin, mend
from verifier.mesh import Mesh, face_normals


@pytest.mark.parametrize("holes", [0, 12])
def test_a_part_open_below_is_closed_flat_and_its_bores_stay_open(part, holes):
    """Some of the holes run into the rim; to the rim's own raggedness the underside lies where the part ends."""
    rng = np.random.default_rng(5)
    mesh = faults.without_underside(part.mesh, 0.4)
    for at in [faults.some_place(mesh, rng) for _ in range(holes)]:
        mesh = faults.with_hole(mesh, at, rng.uniform(0.6, 1.8))
    solid = mend(faults.scan_of(mesh))
    assert steps(solid)["Closed the underside where it stood"] == 1
    assert euler(solid) == part.euler
    flat = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED))[:, :, 2].min()
    assert abs(flat) < faults.EDGE_MM  # the net's own edge: so far down any face at the rim may reach


@pytest.mark.parametrize("ragged_mm", [0.0, 0.25])
def test_a_hub_whose_end_was_not_seen_ends_flat_and_its_bore_stays_open(ragged_mm):
    part = faults.pump_rocker()
    corners = part.mesh.corners_mm
    seen = corners[:, :, 2].max(axis=1) < 7.0 + ragged_mm * np.sin(corners[:, 0, 0])
    solid = mend(faults.scan_of(Mesh(part.mesh.vertices_mm, part.mesh.faces[seen])))
    assert euler(solid) == part.euler
    end_mm = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED))[:, :, 2].max()
    assert 7.0 - ragged_mm - faults.EDGE_MM < end_mm < 8.0 + 1e-6  # no shorter than was seen, no longer than it is


def test_a_face_within_a_rounded_edge_is_flat_and_bores_that_end_in_it_stay_open():
    """Of the corners of 0.6 mm round the underside all is seen that looks down by no more than 65 degrees."""
    part = faults.rounded_plate()
    normals, heights = face_normals(part.mesh), part.mesh.corners_mm[:, :, 2].mean(axis=1)
    mesh = Mesh(part.mesh.vertices_mm, part.mesh.faces[(normals[:, 2] > -0.9) | (heights > 3.0)])
    solid = mend(faults.scan_of(mesh))
    assert euler(solid) == part.euler
    made = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED))[:, :, 2]
    assert made.min() > -0.1  # no dome below the part
    assert made.max() < 0.6  # nothing above its corners
    kept = {tuple(corner) for corner in solid.mesh.vertices_mm.tolist()}
    rounded = mesh.vertices_mm[np.unique(mesh.faces)]
    rounded = rounded[(np.hypot(rounded[:, 0] - 5.0, rounded[:, 1]) > 4.0) & (rounded[:, 2] > 0.05)]
    stays = [tuple(corner) in kept for corner in rounded.tolist()]
    assert np.mean(stays) > 0.999  # all but a crumb that hung on nothing


def test_a_dome_whose_end_was_not_seen_is_not_cut_flat():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=12.0)
    mesh = Mesh(np.asarray(ball.vertices), np.asarray(ball.faces))
    seen = mesh.corners_mm[:, :, 2].min(axis=1) > -8.0
    solid = mend(faults.scan_of(Mesh(mesh.vertices_mm, mesh.faces[seen])))
    assert "Closed the underside where it stood" not in steps(solid)


def test_a_coarse_rim_that_keeps_to_no_plane_is_filled_like_any():
    """A box of twelve faces without two of different sides: of the rim's four corners no three are level."""
    made = manifold3d.Manifold.cube((20.0, 14.0, 9.0)).to_mesh64()
    box = Mesh(np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64))
    solid = mend(faults.scan_of(Mesh(box.vertices_mm, np.delete(box.faces, [0, 2], axis=0))))
    assert solid.volume_mm3 == pytest.approx(20.0 * 14.0 * 9.0)
