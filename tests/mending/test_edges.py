"""What is carried along while faces come and go is what would be found anew."""

import numpy as np
import pytest
import trimesh

from verifier.mending.draft import Draft
from verifier.mending.edges import pair_edges, piece_of_faces, stays_whole, with_faces_turned, without_faces
from verifier.mesh import Mesh, face_areas_mm2

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
    assert len(whole.areas_mm2) == len(FACES)
    for _ in range(3):
        hole = near(rng, rng.uniform(0.05, 0.15))
        draft = whole.without(hole).with_sewn(np.empty((0, 3)), FACES[hole & (rng.random(len(hole)) < 0.7)])
        assert np.array_equal(draft.edges.twin, pair_edges(draft.mesh.faces, len(BALL.vertices)).twin)
        count, piece = piece_of_faces(draft.edges)
        assert draft.pieces[0] == count
        assert np.array_equal(draft.pieces[1], piece)
        assert "areas_mm2" in draft.__dict__
        assert np.array_equal(draft.areas_mm2, face_areas_mm2(draft.mesh))
        crumbled = whole.without(hole & (rng.random(len(hole)) < 0.7))
        assert "pieces" in crumbled.__dict__  # carried along
        assert np.array_equal(crumbled.pieces[1], piece_of_faces(crumbled.edges)[1])


@pytest.mark.parametrize("seed", range(6530, 6533))
def test_the_table_of_faces_turned_over_is_the_one_found_anew(seed):
    """Some faces gone, some turned; turned by themselves and beside others that are."""
    rng = np.random.default_rng(seed)
    open_ball = FACES[~near(rng, 0.1)]
    edges = pair_edges(open_ball, len(BALL.vertices))
    turned = rng.random(len(open_ball)) < 0.2
    made = with_faces_turned(edges, turned)
    assert np.array_equal(made.faces[turned], open_ball[turned][:, [0, 2, 1]])
    assert np.array_equal(made.twin, pair_edges(made.faces, len(BALL.vertices)).twin)


@pytest.mark.parametrize("seed", range(6520, 6523))
def test_fins_and_crumbs_taken_away_leave_the_table_and_the_pieces_found_anew(seed):
    """Fins all along the border of a patch: without them the patch and the rest are one piece again."""
    rng = np.random.default_rng(seed)
    patch = FACES[near(rng, 0.4)]
    border = pair_edges(patch, len(BALL.vertices))
    ends = np.column_stack([border.start, border.end])[border.border]
    fins = np.column_stack([ends, len(BALL.vertices) + np.arange(len(ends))])
    crumbs = len(BALL.vertices) + len(ends) + np.arange(12).reshape(-1, 3)
    points = np.concatenate([BALL.vertices, rng.normal(0.0, 2.0, (len(ends) + 12, 3))])
    faces = rng.permutation(np.concatenate([FACES, fins, crumbs]))
    draft = Draft(Mesh(points, faces), np.zeros(len(faces), dtype=np.uint8))
    count, piece = draft.pieces
    assert (count, (np.bincount(piece) > 1).sum()) == (2 + len(fins) + len(crumbs), 2)
    left = draft.without((np.bincount(piece) == 1)[piece])
    found = pair_edges(left.mesh.faces, len(points))
    assert "pieces" in left.__dict__  # handed on, not asked for
    assert np.array_equal(left.edges.twin, found.twin)
    assert left.pieces[0] == 1
    assert np.array_equal(left.pieces[1], piece_of_faces(found)[1])
