"""Move a surface inwards, so that flat faces move by exactly their coat's thickness and sharp edges stay sharp."""

from itertools import chain, repeat

import numpy as np
from scipy import sparse

from verifier.correcting.face_shapes import FaceShapes, corner_rings, face_shapes, smoothed_normals
from verifier.correcting.offset_crossings import without_crossings
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2, touching

# Faces round a corner whose normals part by less than about this count as one face, and the corner moves along their
# mean. Smoothed scatter leaves 3 to 10 degrees; told apart, faces that nearly agree would fix their common corner only
# with a long sideways move. For two equally wide faces the mean is exact at any angle.
ONE_FACE_WITHIN_DEG = 30.0

# Where a face would turn over, its corners keep this share of their sideways move, round after round; then they stay.
SIDEWAYS_KEPT = (0.5, 0.5, 0.0, 0.0)


def offset_inwards(mesh: Mesh, thickness_mm: Array | float) -> Mesh:
    """The same faces with every one moved against its normal by its thickness (outwards where that is negative).

    thickness_mm : (m,) or one for all
    Each corner moves by the shortest d with n . d = -thickness for every distinct face normal n round it, in least
    squares where there are more than three. Where a face would turn over, its corners are held back; where the surface
    would run through itself, they follow their neighbours.
    Raises ValueError for a mesh that is not closed and oriented.
    """
    shapes = face_shapes(mesh)
    ring = corner_rings(mesh, shapes)
    moves = inward_moves(mesh, shapes, ring, thickness_mm)
    unturned = _without_turned_faces(mesh, moves, shapes, shapes.has_direction)
    held = unturned.vertices_mm - mesh.vertices_mm
    moves = without_crossings(mesh, held, ring)
    changed = (moves != held).any(axis=1)
    return _without_turned_faces(mesh, moves, shapes, shapes.has_direction & touching(mesh.faces, changed))


def inward_moves(mesh: Mesh, shapes: FaceShapes, ring: sparse.csr_array, thickness_mm: Array | float) -> Array:
    """How each corner moves when all faces move inwards by their thickness, (n, 3)."""
    normals = smoothed_normals(mesh, shapes.normals)
    sums = ring @ normals
    turns = np.asarray(ring.sum(axis=1)).ravel()
    lengths = np.linalg.norm(sums, axis=1)
    agreement = np.divide(lengths, turns, out=np.ones_like(lengths), where=turns > 0)
    # Two normals parted by an angle have a mean as long as the cosine of its half.
    one_face = agreement >= np.cos(np.radians(ONE_FACE_WITHIN_DEG) / 2.0)
    thickness_mm = np.broadcast_to(np.asarray(thickness_mm, dtype=np.float64), len(mesh.faces))
    shares = np.divide(-(ring @ thickness_mm), lengths**2, out=np.zeros_like(lengths), where=one_face & (lengths > 0))
    moves = shares[:, None] * sums
    edges = np.flatnonzero(~one_face)
    moves[edges] = _meet_all_faces(normals, thickness_mm, ring[edges])
    return np.asarray(moves)


def _meet_all_faces(normals: Array, thickness_mm: Array, ring: sparse.csr_array) -> Array:
    """The shortest least-squares answer of n . d = -thickness for all faces round each corner, (k, 3)."""
    pairs = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    products = ring @ np.column_stack([normals[:, i] * normals[:, j] for i, j in pairs])
    values, vectors = np.linalg.eigh(products[:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3))
    # Two equally wide faces parted by an angle give eigenvalues whose ratio is the squared tangent of its half.
    least = values[:, -1:] * np.tan(np.radians(ONE_FACE_WITHIN_DEG) / 2.0) ** 2
    inverse = np.divide(1.0, values, out=np.zeros_like(values), where=values > np.maximum(least, 1e-12))
    along = np.einsum("kij,ki->kj", vectors, -(ring @ (normals * thickness_mm[:, None])))
    return np.asarray(np.einsum("kij,kj->ki", vectors, inverse * along))


def _without_turned_faces(mesh: Mesh, moves: Array, shapes: FaceShapes, asked: BoolArray) -> Mesh:
    """The mesh with its corners moved; those of faces that would turn over are held back, first sideways only.

    asked : (m,) faces that may turn over

    A corner of a flat face moves along its normal alone and never stops: what turns a face over is the neighbour on an
    edge, which moves sideways as well, by more than the face is wide.
    """
    moves = moves.copy()
    doubtful = np.flatnonzero(asked)
    for kept_share in chain(SIDEWAYS_KEPT, repeat(None)):
        after = face_vectors_mm2(Mesh(mesh.vertices_mm + moves, mesh.faces[doubtful]))
        over = np.einsum("ij,ij->i", shapes.normals[doubtful], after) <= 0.0
        turned = doubtful[over]
        if len(turned) == 0:
            break
        corners = mesh.faces[turned].ravel()
        moves[corners] = _held_back(moves[corners], np.repeat(shapes.normals[turned], 3, axis=0), kept_share)
        doubtful = np.flatnonzero(shapes.has_direction & _touching(mesh.faces, corners, len(moves)))
    return Mesh(mesh.vertices_mm + moves, mesh.faces)


def _held_back(moves: Array, normals: Array, kept_share: float | None) -> Array:
    """The moves with only that share of what is square to the normals; no move at all for None."""
    if kept_share is None:
        return np.zeros_like(moves)
    along = np.einsum("ij,ij->i", moves, normals)[:, None] * normals
    return np.asarray(along + kept_share * (moves - along))


def _touching(faces: IntArray, corners: IntArray, count: int) -> BoolArray:
    """Faces with any of these corners, (m,)."""
    marked = np.zeros(count, dtype=bool)
    marked[corners] = True
    return touching(faces, marked)
