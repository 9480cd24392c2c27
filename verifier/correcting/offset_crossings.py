"""Where a moved surface runs through itself: corners there follow their neighbours, until it does not any more."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import sparse

from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Array, IntArray, Mesh, face_normals, marked_once, own_corners

# A face whose corners move unlike each other by this share of its edges may cross a neighbour; where they move alike,
# the surface stays as it was. Asking about all faces takes 3 s a million, about these a tenth of that.
STRAIN = 0.1
# A crossing is gone after one to five rounds; each takes in one more ring of corners, and evens the moves inside out
# so often.
ROUNDS = 10
PASSES = 12
# Of a scan some hundredths of the corners are touched. More would be where the coat is thicker than the faces are long.
MOST_CHANGED = 0.1
# Two faces are in one plane while their normals part by less than this, a twentieth of a degree.
ONE_PLANE = 1e-3


def without_crossings(mesh: Mesh, moves: Array, ring: sparse.csr_array) -> Array:
    """The moves of the corners, (n, 3), smoothed where the moved surface would run through itself.

    ring : which faces stand round which corner, (n, m)

    A field of moves that is the same everywhere lets nothing cross that did not before, so what crosses is where
    neighbours move apart: at edges, and where scatter turns single faces. What crossed before may stay.
    """
    around = _Around(mesh.faces, ring)
    smoothed = moves
    asked = around.widened(_strained(mesh, moves))
    for rings in range(ROUNDS):
        crossing = _crossing(mesh, smoothed, asked)
        if len(crossing) == 0:
            break
        for _ in range(rings):
            crossing = around.widened(crossing)
        asked = around.widened(crossing)
        smoothed = _smoothed(mesh, smoothed, crossing, asked)
    changed = (smoothed != moves).any(axis=1)
    return smoothed if changed.mean() <= MOST_CHANGED else moves


@dataclass(frozen=True, slots=True)
class _Around:
    """Which faces stand round which corner, so that a few faces are widened without asking a million."""

    faces: IntArray
    ring: sparse.csr_array

    def widened(self, some: IntArray) -> IntArray:
        """These faces and all that share a corner with one of them, ascending."""
        starts, counts = self.ring.indptr[:-1], np.diff(self.ring.indptr)
        corners = marked_once(self.faces[some], len(starts))
        first, many = starts[corners], counts[corners]
        places = np.arange(many.sum()) + np.repeat(first - np.cumsum(many) + many, many)
        return marked_once(self.ring.indices[places], len(self.faces))


def _strained(mesh: Mesh, moves: Array) -> IntArray:
    """Faces of which two corners move unlike each other.

    In single precision, and axis by axis: a tenth of an edge is no matter of digits.
    """
    about = mesh.vertices_mm - mesh.vertices_mm.mean(axis=0)
    places, moved = (np.ascontiguousarray(rows.T, dtype=np.float32) for rows in (about, moves))
    corners = [(np.take(places, mesh.faces[:, k], axis=1), np.take(moved, mesh.faces[:, k], axis=1)) for k in range(3)]
    strained = np.zeros(len(mesh.faces), dtype=bool)
    for one, other in combinations(corners, 2):
        edge, apart = (a - b for a, b in zip(one, other, strict=True))
        strained |= np.einsum("ij,ij->j", apart, apart) > STRAIN**2 * np.einsum("ij,ij->j", edge, edge)
    return np.flatnonzero(strained)


def _crossing(mesh: Mesh, moves: Array, asked: IntArray) -> IntArray:
    """Which of the faces asked about cross another one of them once moved."""
    if len(asked) == 0:
        return asked
    corners, faces = own_corners(mesh.faces[asked], len(moves))
    pairs = crossing_pairs(Mesh(mesh.vertices_mm[corners] + moves[corners], faces))
    one, other = (face_normals(Mesh(mesh.vertices_mm, mesh.faces[asked[pairs[:, k]]])) for k in (0, 1))
    # Faces that lay in one plane cross by the rounding of their moves only.
    bent = np.linalg.norm(np.cross(one, other), axis=1) > ONE_PLANE
    return np.unique(asked[pairs[bent]])


def _smoothed(mesh: Mesh, moves: Array, crossing: IntArray, around: IntArray) -> Array:
    """The moves with those of crossing faces' corners evened out between their neighbours'.

    around : the crossing faces and those beside them
    """
    corners, faces = own_corners(mesh.faces[around], len(moves))
    inner = np.zeros(len(moves), dtype=bool)
    inner[mesh.faces[crossing]] = True
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    links = sparse.csr_array((np.ones(len(start)), (start, end)), shape=(len(corners), len(corners)))
    links = links + links.T
    shares = 1.0 / np.asarray(links.sum(axis=1)).reshape(-1, 1)
    changed, own = inner[corners], moves[corners]
    for _ in range(PASSES):
        own[changed] = ((links @ own) * shares)[changed]
    smoothed = moves.copy()
    smoothed[corners] = own
    return smoothed
