"""A wide hole on one side of a thin wall is filled so that the wall keeps the thickness it has around the hole."""

import faults
import igl
import manifold3d
import numpy as np
from test_mend import rows, steps

from verifier.mending import mend
from verifier.mesh import Mesh


def test_a_skin_over_the_outside_of_a_bowl_does_not_dip_through_its_inside():
    """A bowl of 10 mm radius and 1 mm wall; a lid over 15 mm of it would lie 3.4 mm lower, 2.4 mm inside the bowl."""
    ball = manifold3d.Manifold.sphere
    made = (ball(10, 120) - ball(9, 120)).trim_by_plane((0, 0, 1), 0).refine_to_length(0.6).to_mesh64()
    smooth = np.array(made.vert_properties)[:, :3]
    rough = np.random.default_rng(1).normal(0.0, 0.01, smooth.shape)
    bowl = Mesh(smooth + rough, np.array(made.tri_verts).astype(np.int64))
    at = 10.0 * np.array([0.28, 0.19, 0.94])
    middles = faults.middles(bowl)
    gone = (np.linalg.norm(middles - at, axis=1) < 7.5) & (np.linalg.norm(middles, axis=1) > 9.5)
    holed = Mesh(bowl.vertices_mm, bowl.faces[~gone])
    solid = mend(faults.scan_of(holed))
    assert steps(solid) == {"Filled holes": 1}
    assert rows(holed.vertices_mm[np.unique(holed.faces)]) <= rows(solid.mesh.vertices_mm)
    in_wall = 0.95 * middles[gone]
    assert (igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, in_wall) > 0.5).all()
    # Of 1 mm, a fifth may be lost; the rim is ragged by half a spacing on a slope of 45 degrees.
    new_mm = solid.mesh.vertices_mm[len(np.unique(holed.faces)) :]
    assert np.abs(np.linalg.norm(new_mm, axis=1) - 10.0).max() < 0.2 + 0.5 * 0.6 * 0.7
