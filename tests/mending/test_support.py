"""A part scanned on its table, from above: flange around it, table seen through its bores, no underside."""

import faults
import numpy as np
import pytest
from test_mend import euler, steps

from verifier.mending import Origin, mend
from verifier.mending.edges import pair_edges
from verifier.mesh import Mesh, face_areas_mm2, face_normals


@pytest.mark.parametrize("pose", [None, 1, pytest.param(2, marks=pytest.mark.long)])
def test_the_table_is_taken_away_and_the_bores_stay_open(part, pose):
    mesh = faults.on_a_table(part.mesh, 5.0)
    solid = mend(faults.scan_of(mesh if pose is None else faults.turned(mesh, np.random.default_rng(pose))))
    assert {"Removed support surface", "Closed the underside where it stood"} <= set(steps(solid))
    assert "Left faces that cross each other" not in steps(solid)
    assert euler(solid) == part.euler
    # The table's plane is known to a tenth of a micron, on an underside of 590 or 270 mm2.
    assert solid.volume_mm3 == pytest.approx(faults.above_the_table_mm3(part.mesh), abs=0.06)
    assert solid.origin.tolist().count(Origin.FILLED) > 0


def test_a_hole_at_the_foot_that_runs_into_the_rim_of_a_coarse_table_leaves_the_table_known(part):
    """Over the hole the rim has as many edges as along all of the table."""
    foot = part.mesh.vertices_mm[part.mesh.vertices_mm[:, 1].argmin()] * [1.0, 1.0, 0.0]
    solid = mend(faults.scan_of(faults.with_hole(faults.on_a_table(part.mesh, 1.0, edge_mm=3.0), foot, 4.0)))
    assert euler(solid) == part.euler
    # What is filled of the wall bulges by 0.1 mm over the half of a hole of 4 mm that lies in it.
    assert solid.volume_mm3 == pytest.approx(faults.above_the_table_mm3(part.mesh), abs=1.0)


def test_a_part_without_a_table_is_not_cut(part):
    """A hole in its top: the faces around look up too, but the part lies below them."""
    top = part.mesh.vertices_mm[part.mesh.vertices_mm[:, 2].argmax()]
    solid = mend(faults.scan_of(faults.with_hole(part.mesh, top, 2.0)))
    assert not {"Removed support surface", "Closed the underside where it stood"} & set(steps(solid))
    assert euler(solid) == part.euler


@pytest.mark.parametrize("seed", [1, pytest.param(2, marks=pytest.mark.long)])
def test_a_part_in_two_passes_on_its_table_with_holes_folds_and_wrong_joints_comes_out_whole(part, seed):
    """Holes and folds at the foot run into the cut, and spikes through the table, unless they are mended before it."""
    rng = np.random.default_rng(seed)
    passes = faults.in_two_partial_passes(faults.on_a_table(part.mesh, 5.0), rng, 0.1, 6.0)
    mesh = passes.mesh
    for at in [faults.some_place(mesh, rng) for _ in range(12)]:
        mesh = faults.with_hole(mesh, at, rng.uniform(0.6, 1.8))
    mesh = faults.with_fold(mesh, faults.some_place(mesh, rng), 0.8)
    mesh = faults.with_specks(faults.with_wrong_welds(mesh, rng, 6), rng, 20)
    solid = mend(faults.scan_of(faults.unwelded(mesh)))
    assert {"Cut off spikes", "Dropped a second layer", "Removed support surface"} <= set(steps(solid))
    assert euler(solid) == part.euler
    # Two passes 0.1 mm apart: whichever is kept, the part's 600 mm2 seen from above are off by half of that at most.
    assert solid.volume_mm3 == pytest.approx(faults.above_the_table_mm3(part.mesh), rel=0.012)


def test_one_face_gone_at_an_edge_is_no_table(part):
    """Two of the three faces around it look alike, which is too few to lay a plane through."""
    mesh = part.mesh
    edges = pair_edges(mesh.faces, len(mesh.vertices_mm))
    normals, areas = face_normals(mesh), face_areas_mm2(mesh)
    beside = edges.twin.reshape(-1, 3) // 3
    weights = np.minimum(areas[beside], 4.0 * np.median(areas[beside], axis=1)[:, None])
    mean = (normals[beside] * weights[:, :, None]).sum(axis=1)
    alike = np.einsum("qkx,qx->qk", normals[beside], mean / np.linalg.norm(mean, axis=1)[:, None]) > 0.9
    chosen = (np.linalg.norm(mean, axis=1) > 0.91 * weights.sum(axis=1)) & (alike.sum(axis=1) < 3)
    gone = int(np.flatnonzero(chosen)[0])
    solid = mend(faults.scan_of(Mesh(mesh.vertices_mm, np.delete(mesh.faces, gone, axis=0))))
    assert euler(solid) == part.euler
