"""Which side is out, where a piece is open and its own volume says little of that."""

import faults
import numpy as np
import pytest

from verifier.mending import Origin
from verifier.mending.draft import Draft
from verifier.mending.orientation import settle_pieces
from verifier.mesh import face_vectors_mm2


@pytest.mark.parametrize(("make", "seed"), [(faults.fence_clip, 6), (faults.fence_clip, 11), (faults.seat_armrest, 29)])
@pytest.mark.parametrize("inside_out", [False, True])
def test_half_a_part_on_a_table_of_large_faces_faces_out(make, seed, inside_out):
    """The border runs round the table in a few long edges and over the part in many short ones."""
    mesh = faults.on_a_table(make().mesh, 5.0, edge_mm=3.0)
    mesh = faults.in_two_partial_passes(mesh, np.random.default_rng(seed), 0.1, 6.0).mesh
    exported = faults.inside_out(mesh) if inside_out else mesh
    settled = settle_pieces(Draft(exported, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8)))
    assert np.allclose(face_vectors_mm2(settled.mesh), face_vectors_mm2(mesh), rtol=0.0, atol=1e-12)
    assert [(step.what, step.count) for step in settled.steps] == [("Turned inside-out parts outward", 2)] * inside_out
