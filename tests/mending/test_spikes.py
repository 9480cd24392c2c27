"""A corner joined to the wrong place is undone: its foot is filled, and nothing stands out of the part."""

import faults
import numpy as np
import trimesh
from test_mend import assert_closed_and_true, steps

from verifier.mending import mend
from verifier.mesh import Mesh


def test_a_corner_joined_to_a_speck_leaves_no_spike_when_the_speck_goes(part):
    """The speck is thrown away; the faces that reached for it would be left in the air, crossing nothing."""
    specked = faults.with_specks(part.mesh, np.random.default_rng(1), 3)
    own = len(part.mesh.vertices_mm)
    top = int(np.linalg.norm(part.mesh.vertices_mm - specked.vertices_mm[own + 8], axis=1).argmin())
    welded = Mesh(specked.vertices_mm, np.where(specked.faces == top, own + 8, specked.faces))
    solid = mend(faults.scan_of(faults.unwelded(welded)))
    assert steps(solid)["Cut off spikes"] == 1
    assert steps(solid)["Removed debris"] == 3
    # The corner itself is lost, and with it what it stood out: 0.1 mm at an edge of the part.
    assert solid.mesh.vertices_mm.max(axis=0)[2] < part.mesh.vertices_mm.max(axis=0)[2] + 0.1
    assert_closed_and_true(solid, part)


def test_a_corner_joined_across_a_gap_leaves_no_bridge():
    part = faults.fence_clip()
    low, high = (int(np.linalg.norm(part.mesh.vertices_mm - at, axis=1).argmin()) for at in ((24, 3, 3), (24, 3, 9)))
    welded = Mesh(part.mesh.vertices_mm, np.where(part.mesh.faces == low, high, part.mesh.faces))
    solid = mend(faults.scan_of(welded))
    assert steps(solid) == {"Cut off spikes": 1, "Filled holes": 1}
    assert_closed_and_true(solid, part)


def test_a_cone_that_runs_to_a_point_is_no_spike():
    """Four times as long as wide, its sides one face each from the base to the tip, on a finely meshed plate."""
    plate = trimesh.creation.box((30, 30, 2)).subdivide_to_size(1.0)
    cone = trimesh.creation.cone(radius=1.0, height=8.0, sections=24)
    cone.apply_translation((0, 0, 3))
    both = trimesh.util.concatenate([plate, cone])
    mesh = Mesh(np.array(both.vertices), np.array(both.faces).astype(np.int64))
    assert "Cut off spikes" not in steps(mend(faults.scan_of(mesh)))
