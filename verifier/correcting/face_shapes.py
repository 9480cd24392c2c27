"""What the corners of a mesh are told of the faces round them: directions, angles, and which faces are needles.

A million vectors are worked on axis by axis, (3, m): a row of three numbers is gathered and multiplied in three times
the time.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from verifier.mesh import Array, BoolArray, IntArray, Mesh, corner_columns, crossed

AnyArray = NDArray[Any]  # of whichever precision it is called with

# A triangle lower than this is a needle between points in one line: which way it looks is rounding, so it has a say
# only where there is nothing but needles.
NEEDLE_MM = 1e-3
NEEDLE_SHARE = 1e-3

# Face normals are averaged with neighbours that agree within this angle; across a sharper edge they are not, or it
# would be rounded. Facets of a scan at 0.1 mm spacing with 0.03 mm of scatter differ by 15 to 25 degrees.
AGREE_WITHIN_DEG = 40.0
SMOOTHING_ROUNDS = 4


@dataclass(frozen=True, slots=True)
class FaceShapes:
    """All faces of one mesh.

    normals : (m, 3) unit, zero for a face without area
    angles : (3, m) at each corner, rad
    has_direction : (m,) faces that are no needles
    """

    normals: Array
    angles: Array
    has_direction: BoolArray


def face_shapes(mesh: Mesh) -> FaceShapes:
    """Work out every face once."""
    a, b, c = corner_columns(mesh)
    ab, bc, ca = b - a, c - b, a - c
    vectors = crossed(ab.T, bc.T)
    double_areas = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    longest_mm = np.sqrt(np.maximum(np.maximum(_dots(ab, ab), _dots(bc, bc)), _dots(ca, ca)))
    along = np.stack([-_dots(ca, ab), -_dots(ab, bc), -_dots(bc, ca)])
    normals = np.divide(vectors, double_areas[:, None], out=np.zeros_like(vectors), where=double_areas[:, None] > 0)
    return FaceShapes(normals, np.arctan2(double_areas, along), double_areas > NEEDLE_MM * longest_mm)


def corner_rings(mesh: Mesh, shapes: FaceShapes) -> sparse.csr_array:
    """How wide which face stands round which corner, as an angle, (n, m).

    By the angle, one long side of a box weighs as much as the sixty slivers that share its corner on the face above.
    """
    weights = np.where(shapes.has_direction, 1.0, NEEDLE_SHARE) * shapes.angles
    entries = (mesh.faces.T.ravel(), np.tile(np.arange(len(mesh.faces)), 3))
    return sparse.csr_array((weights.ravel(), entries), shape=(len(mesh.vertices_mm), len(mesh.faces)))


def smoothed_normals(mesh: Mesh, normals: Array) -> Array:
    """The normals of the faces, each averaged with those of its three neighbours that agree with it; (m, 3).

    In single precision, a thousand times finer than what is averaged away and half the memory.
    """
    neighbours = _face_neighbours(mesh)
    least = np.cos(np.radians(AGREE_WITHIN_DEG))
    smooth: AnyArray = np.ascontiguousarray(normals.T, dtype=np.float32)
    for _ in range(SMOOTHING_ROUNDS):
        sums = smooth.copy()
        for beside in neighbours:
            theirs = np.take(smooth, beside, axis=1)
            theirs *= _dots(smooth, theirs) > least
            sums += theirs
        smooth = _unit(sums)
    return np.ascontiguousarray(_unit(smooth.astype(np.float64)).T)


def _unit(columns: AnyArray) -> AnyArray:
    """The same directions with length 1, (3, m); zero stays zero."""
    lengths = np.sqrt(_dots(columns, columns))
    return np.asarray(columns / np.where(lengths > 0, lengths, 1.0))


def _face_neighbours(mesh: Mesh) -> IntArray:
    """Which face lies beyond each of the three edges of every face, (3, m).

    In a closed, oriented surface the edge a-b of one face is the edge b-a of its neighbour, so the table of edges and
    its transpose have their entries at the same places, and no edge has to be searched for.
    """
    n, m = len(mesh.vertices_mm), len(mesh.faces)
    start, end = mesh.faces.T.ravel(), mesh.faces.T[[1, 2, 0]].ravel()
    forth = sparse.csr_array((np.arange(3 * m, dtype=np.int32), (start, end)), shape=(n, n))
    back = forth.T.tocsr()
    if not (np.array_equal(forth.indptr, back.indptr) and np.array_equal(forth.indices, back.indices)):
        raise ValueError("the mesh is not closed and oriented")
    beyond = np.empty(3 * m, dtype=np.int64)
    beyond[forth.data] = back.data % m
    return beyond.reshape(3, m)


def _dots(a: AnyArray, b: AnyArray) -> AnyArray:
    """The products of two rows of columns, (3, m) and (3, m): (m,)."""
    return np.asarray(np.einsum("ij,ij->j", a, b))
