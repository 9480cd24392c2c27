"""Where a moved surface runs through itself: corners there follow their neighbours, until it does not any more."""

import numpy as np
from scipy import sparse

from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals, touching

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


def without_crossings(mesh: Mesh, moves: Array) -> Array:
    """The moves of the corners, (n, 3), smoothed where the moved surface would run through itself.

    A field of moves that is the same everywhere lets nothing cross that did not before, so what crosses is where
    neighbours move apart: at edges, and where scatter turns single faces. What crossed before may stay.
    """
    # Column by column in memory, so that asking a million faces again and again reads each number once.
    mesh = Mesh(mesh.vertices_mm, np.asfortranarray(mesh.faces))
    smoothed = moves
    asked = _with_ring(mesh, _strained(mesh, moves))
    for ring in range(ROUNDS):
        crossing = _crossing(mesh, smoothed, asked)
        if not crossing.any():
            break
        for _ in range(ring):
            crossing = _with_ring(mesh, crossing)
        smoothed = _smoothed(mesh, smoothed, crossing)
        asked = _with_ring(mesh, crossing)
    changed = (smoothed != moves).any(axis=1)
    return smoothed if changed.mean() <= MOST_CHANGED else moves


def _strained(mesh: Mesh, moves: Array) -> BoolArray:
    """Faces of which two corners move unlike each other, (m,)."""
    strained = np.zeros(len(mesh.faces), dtype=bool)
    for a, b in ((0, 1), (1, 2), (2, 0)):
        one, other = mesh.faces[:, a], mesh.faces[:, b]
        apart = np.take(moves, one, axis=0) - np.take(moves, other, axis=0)
        edge = np.take(mesh.vertices_mm, one, axis=0) - np.take(mesh.vertices_mm, other, axis=0)
        strained |= np.einsum("ij,ij->i", apart, apart) > STRAIN**2 * np.einsum("ij,ij->i", edge, edge)
    return strained


def _with_ring(mesh: Mesh, faces: BoolArray) -> BoolArray:
    marked = np.zeros(len(mesh.vertices_mm), dtype=bool)
    marked[mesh.faces[faces]] = True
    return touching(mesh.faces, marked)


def _crossing(mesh: Mesh, moves: Array, asked: BoolArray) -> BoolArray:
    """Which of the faces asked about cross another one of them once moved, (m,)."""
    names = np.flatnonzero(asked)
    crossing = np.zeros(len(mesh.faces), dtype=bool)
    if len(names):
        corners, faces = _own(mesh.faces[names], len(moves))
        pairs = crossing_pairs(Mesh(mesh.vertices_mm[corners] + moves[corners], faces))
        one, other = (face_normals(Mesh(mesh.vertices_mm, mesh.faces[names[pairs[:, k]]])) for k in (0, 1))
        # Faces that lay in one plane cross by the rounding of their moves only.
        bent = np.linalg.norm(np.cross(one, other), axis=1) > ONE_PLANE
        crossing[names[pairs[bent].ravel()]] = True
    return crossing


def _own(faces: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """The corners that these faces have, and the faces over them."""
    marked = np.zeros(count, dtype=bool)
    marked[faces] = True
    number = np.cumsum(marked) - 1
    return np.flatnonzero(marked), number[faces].astype(np.int64)


def _smoothed(mesh: Mesh, moves: Array, crossing: BoolArray) -> Array:
    """The moves with those of crossing faces' corners evened out between their neighbours'."""
    around = mesh.faces[_with_ring(mesh, crossing)]
    corners, faces = _own(around, len(moves))
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
