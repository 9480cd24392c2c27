"""Move a whole surface inwards by one thickness, so that flat faces move by exactly that and sharp edges stay sharp."""

from itertools import chain, repeat

import numpy as np
from scipy import sparse

from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals, face_vectors_mm2

# Face normals are averaged with neighbours that agree within this angle; across a sharper edge they are not, or it
# would be rounded. Facets of a scan at 0.1 mm spacing with 0.03 mm of scatter differ by 15 to 25 degrees.
AGREE_WITHIN_DEG = 40.0
SMOOTHING_ROUNDS = 4

# Faces round a corner whose normals part by less than about this count as one face, and the corner moves along their
# mean. Smoothed scatter leaves 3 to 10 degrees; told apart, faces that nearly agree would fix their common corner only
# with a long sideways move. For two equally wide faces the mean is exact at any angle.
ONE_FACE_WITHIN_DEG = 30.0

# A triangle lower than this is a needle between points in one line: which way it looks is rounding, so it has a say
# only where there is nothing but needles.
NEEDLE_MM = 1e-3
NEEDLE_SHARE = 1e-3

# Where a face would turn over, its corners keep this share of their sideways move, round after round; then they stay.
SIDEWAYS_KEPT = (0.5, 0.5, 0.0, 0.0)


def offset_inwards(mesh: Mesh, thickness_mm: float) -> Mesh:
    """The same faces with every one moved against its normal by thickness_mm (outwards where that is negative).

    Each corner moves by the shortest d with n . d = -thickness for every distinct face normal n round it, in least
    squares where there are more than three. Where a face would turn over, its corners are held back.
    """
    moves = thickness_mm * inward_moves(mesh)
    return _without_turned_faces(mesh, moves)


def inward_moves(mesh: Mesh) -> Array:
    """How each corner moves when all faces move inwards by 1, (n, 3)."""
    normals = smoothed_face_normals(mesh)
    ring = _corner_rings(mesh)
    sums = ring @ normals
    turns = np.asarray(ring.sum(axis=1)).ravel()
    lengths = np.linalg.norm(sums, axis=1)
    agreement = np.divide(lengths, turns, out=np.ones_like(lengths), where=turns > 0)
    # Two normals parted by an angle have a mean as long as the cosine of its half.
    smooth = agreement >= np.cos(np.radians(ONE_FACE_WITHIN_DEG) / 2.0)
    moves = np.zeros_like(sums)
    one = smooth & (lengths > 0)
    moves[one] = -sums[one] * (turns[one] / lengths[one] ** 2)[:, None]
    edges = np.flatnonzero(~smooth)
    moves[edges] = _meet_all_faces(normals, ring[edges])
    return np.asarray(moves)


def smoothed_face_normals(mesh: Mesh) -> Array:
    """Unit normals of the faces, each averaged with those of its three neighbours that agree with it; (m, 3)."""
    neighbours = _face_neighbours(mesh)
    of_face = np.repeat(np.arange(len(mesh.faces)), np.diff(neighbours.indptr))
    least = np.cos(np.radians(AGREE_WITHIN_DEG))
    normals = face_normals(mesh)
    for _ in range(SMOOTHING_ROUNDS):
        agrees = np.einsum("ij,ij->i", normals[of_face], normals[neighbours.indices]) > least
        weights = sparse.csr_array((agrees.astype(np.float64), neighbours.indices, neighbours.indptr))
        normals = _unit(normals + weights @ normals)
    return normals


def _face_neighbours(mesh: Mesh) -> sparse.csr_array:
    """Which faces share an edge with which, (m, m) with one entry a pair.

    In a closed, oriented surface the edge a-b of one face is the edge b-a of its neighbour, so the table of edges and
    its transpose have their entries at the same places. Filling both takes half the time of sorting the edges.
    """
    n, m = len(mesh.vertices_mm), len(mesh.faces)
    start, end = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    face = np.repeat(np.arange(m), 3)
    forth = sparse.csr_array((face, (start, end)), shape=(n, n))
    back = sparse.csr_array((face, (end, start)), shape=(n, n))
    if not (np.array_equal(forth.indptr, back.indptr) and np.array_equal(forth.indices, back.indices)):
        raise ValueError("the mesh is not closed and oriented")
    return sparse.csr_array((np.ones(len(forth.data)), (forth.data, back.data)), shape=(m, m))


def has_direction(mesh: Mesh) -> BoolArray:
    """Faces that are no needles, (m,)."""
    longest_mm = np.linalg.norm(_sides_mm(mesh), axis=2).max(axis=0)
    return np.asarray(np.linalg.norm(face_vectors_mm2(mesh), axis=1) > NEEDLE_MM * longest_mm)


def _corner_rings(mesh: Mesh) -> sparse.csr_array:
    """How wide which face stands round which corner, as an angle, (n, m).

    By the angle, one long side of a box weighs as much as the sixty slivers that share its corner on the face above.
    """
    weights = np.where(has_direction(mesh), 1.0, NEEDLE_SHARE) * _angles(mesh)
    entries = (mesh.faces.T.ravel(), np.tile(np.arange(len(mesh.faces)), 3))
    return sparse.csr_array((weights.ravel(), entries), shape=(len(mesh.vertices_mm), len(mesh.faces)))


def _sides_mm(mesh: Mesh) -> Array:
    """Vectors from each corner of a face to the next, (3, m, 3)."""
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] for k in range(3))
    return np.stack([b - a, c - b, a - c])


def _angles(mesh: Mesh) -> Array:
    """Angle of each face at each of its corners, (3, m)."""
    sides = _sides_mm(mesh)
    back = -np.roll(sides, 1, axis=0)
    along = np.einsum("kij,kij->ki", sides, back)
    return np.asarray(np.arctan2(np.linalg.norm(face_vectors_mm2(mesh), axis=1), along))


def _meet_all_faces(normals: Array, ring: sparse.csr_array) -> Array:
    """The shortest least-squares answer of n . d = -1 for all faces round each corner, (k, 3)."""
    pairs = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    products = ring @ np.column_stack([normals[:, i] * normals[:, j] for i, j in pairs])
    matrices = products[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3)
    values, vectors = np.linalg.eigh(matrices)
    # Two equally wide faces parted by an angle give eigenvalues whose ratio is the squared tangent of its half.
    least = values[:, -1:] * np.tan(np.radians(ONE_FACE_WITHIN_DEG) / 2.0) ** 2
    inverse = np.divide(1.0, values, out=np.zeros_like(values), where=values > np.maximum(least, 1e-12))
    along = np.einsum("kij,ki->kj", vectors, -(ring @ normals))
    return np.asarray(np.einsum("kij,kj->ki", vectors, inverse * along))


def _without_turned_faces(mesh: Mesh, moves: Array) -> Mesh:
    """The mesh with its corners moved; those of faces that would turn over are held back, first sideways only.

    A corner of a flat face moves along its normal alone and never stops: what turns a face over is the neighbour on an
    edge, which moves sideways as well, by more than the face is wide.
    """
    before = face_vectors_mm2(mesh)
    counted = has_direction(mesh)
    moves = moves.copy()
    doubtful = np.flatnonzero(counted)
    for kept_share in chain(SIDEWAYS_KEPT, repeat(None)):
        after = face_vectors_mm2(Mesh(mesh.vertices_mm + moves, mesh.faces[doubtful]))
        turned = doubtful[np.einsum("ij,ij->i", before[doubtful], after) <= 0.0]
        if len(turned) == 0:
            break
        corners = mesh.faces[turned].ravel()
        moves[corners] = _held_back(moves[corners], np.repeat(_unit(before[turned]), 3, axis=0), kept_share)
        doubtful = np.flatnonzero(counted & _touching(mesh.faces, corners, len(moves)))
    return Mesh(mesh.vertices_mm + moves, mesh.faces)


def _held_back(moves: Array, normals: Array, kept_share: float | None) -> Array:
    """The moves with only that share of what is square to the normals; no move at all for None."""
    if kept_share is None:
        return np.zeros_like(moves)
    along = np.einsum("ij,ij->i", moves, normals)[:, None] * normals
    return np.asarray(along + kept_share * (moves - along))


def _touching(faces: IntArray, corners: IntArray, count: int) -> BoolArray:
    marked = np.zeros(count, dtype=bool)
    marked[corners] = True
    return np.asarray(marked[faces].any(axis=1))


def _unit(vectors: Array) -> Array:
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(np.divide(vectors, lengths, out=np.zeros_like(vectors), where=lengths > 0))
