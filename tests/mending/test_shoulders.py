"""A body held over the table by a boss: what lies between the two nobody saw from above."""

import faults
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.errors import CannotMend
from verifier.mending import Origin, mend
from verifier.mesh import Mesh, face_normals, volume_mm3


def without_the_shoulder(mesh: Mesh, hidden_mm: float) -> Mesh:
    """The cam without the plate's underside, and without the boss's wall from a ragged line so far under it on."""
    corners, normals = mesh.corners_mm, face_normals(mesh)
    x, y, z = corners.mean(axis=1).T
    underside = (normals[:, 2] < -0.7) & (z > 3.0)
    ragged_mm = hidden_mm + 0.4 * np.sin(5.0 * np.arctan2(y, x))
    wall = (np.abs(np.hypot(x, y) - 6.0) < 0.7) & (corners[:, :, 2].max(axis=1) > 4.0 - ragged_mm) & (z < 4.2)
    return Mesh(mesh.vertices_mm, mesh.faces[~(underside | wall)])


@pytest.mark.parametrize("hidden_mm", [0.6, 1.5])
def test_what_stands_under_a_body_is_joined_to_it_by_a_flat_face(hidden_mm):
    part = faults.pump_cam()
    solid = mend(faults.scan_of(without_the_shoulder(part.mesh, hidden_mm)))
    assert steps(solid)["Closed the underside where it stood"] == 1
    assert euler(solid) == part.euler
    made = solid.mesh.corners_of(np.flatnonzero(solid.origin == Origin.FILLED)).reshape(-1, 3)
    level = np.hypot(made[:, 0], made[:, 1]) > 6.5
    assert np.abs(made[level, 2] - 4.0).max() < faults.EDGE_MM  # so low the plate's own lowest row of faces may reach
    assert np.hypot(*made[~level, :2].T).max() < 6.1
    assert volume_mm3(solid.mesh) == pytest.approx(part.volume_mm3, rel=0.01)  # 500 mm2 of face, 0.1 mm off


def test_on_a_table_too_and_the_bores_that_were_seen_stay_open():
    part = faults.pump_cam()
    solid = mend(faults.scan_of(without_the_shoulder(faults.on_a_table(part.mesh, 6.0), 1.0)))
    assert euler(solid) == part.euler
    assert volume_mm3(solid.mesh) == pytest.approx(faults.above_the_table_mm3(part.mesh), rel=0.01)


def test_where_too_little_was_seen_to_close_it_the_step_is_to_scan_the_other_side():
    """Two pieces that overlap and are open at the ends that face each other: their lids run through each other."""
    part = faults.pump_cam()
    corners = part.mesh.corners_mm
    x, y, z = corners.mean(axis=1).T
    upper, lower = z > 4.6, (z < 3.2) & (np.hypot(x, y) < 7.0)
    bore = np.hypot(x, y) < 3.5
    lifted = part.mesh.vertices_mm + np.array([0.0, 0.0, 3.0])
    faces = part.mesh.faces
    apart = Mesh(
        np.concatenate([part.mesh.vertices_mm, lifted]),
        np.concatenate([faces[upper & ~bore], faces[lower & ~bore] + len(lifted)]),
    )
    with pytest.raises(CannotMend, match=r"too little of it was seen.*scan its other side too"):
        mend(faults.scan_of(apart))
