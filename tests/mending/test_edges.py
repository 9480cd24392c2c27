"""What is carried along while faces come and go is what would be found anew."""

import numpy as np
import pytest
import trimesh

from verifier.mending.draft import Draft
from verifier.mending.edges import pair_edges, piece_of_faces, stays_whole, without_faces
from verifier.mesh import Mesh

BALL = trimesh.creation.icosphere(4)
FACES, MIDDLES = BALL.faces.astype(np.int64), BALL.triangles_center


def near(rng: np.random.Generator, reach: float) -> np.ndarray:
    return np.linalg.norm(MIDDLES - MIDDLES[rng.integers(len(MIDDLES))], axis=1) < reach


@pytest.mark.parametrize("seed", range(6500, 6510))
def test_a_ring_cut_out_leaves_two_pieces_and_holes_leave_one(seed):
    rng = np.random.default_rng(seed)
    edges = pair_edges(FACES, len(BALL.vertices))
    holes = near(rng, 0.1) | near(rng, 0.05)
    off = np.linalg.norm(MIDDLES - MIDDLES[rng.integers(len(MIDDLES))], axis=1)
    ring = (off > 0.12) & (off < 0.2)
    assert piece_of_faces(without_faces(edges, holes))[0] == 1
    assert stays_whole(edges, holes)
    assert piece_of_faces(without_faces(edges, ring))[0] == 2
    assert not stays_whole(edges, ring)


@pytest.mark.parametrize("seed", range(6510, 6520))
def test_the_table_and_the_pieces_carried_along_are_those_found_anew(seed):
    rng = np.random.default_rng(seed)
    whole = Draft(Mesh(np.asarray(BALL.vertices, dtype=np.float64), FACES), np.zeros(len(FACES), dtype=np.uint8))
    assert whole.pieces[0] == 1
    for _ in range(3):
        hole = near(rng, rng.uniform(0.05, 0.15))
        draft = whole.without(hole).with_sewn(np.empty((0, 3)), FACES[hole & (rng.random(len(hole)) < 0.7)])
        assert np.array_equal(draft.edges.twin, pair_edges(draft.mesh.faces, len(BALL.vertices)).twin)
        count, piece = piece_of_faces(draft.edges)
        assert draft.pieces[0] == count
        assert np.array_equal(draft.pieces[1], piece)
