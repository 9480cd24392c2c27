"""Where the corners of one scan lie on the surface of another that looks the same way.

The nearest surface alone would do for a thick part. The back of a thin wall, or the far side of a knife rim, may be
nearer than the same wall seen by the other scan; so faces are looked up by the six ways they may look.
"""

from dataclasses import dataclass

import igl
import numpy as np

from verifier.joining.layer import Layer, cells_about, in_cells, long_edge_mm
from verifier.mesh import Array, BoolArray, IntArray, Mesh, crossed, marked_once, own_corners, touching

AXES = np.concatenate([np.eye(3), -np.eye(3)])
# Faces that look along an axis by this cosine are asked for the points that look along it; the points' own cosine is
# 0.58 at least.
ALONG = 0.2
# Cosine of 60 degrees: at an edge of the part the normal of a corner stands 45 degrees off each face.
SAME_WAY = 0.5


@dataclass(frozen=True, slots=True)
class Feet:
    """The places on another scan's patch nearest to the corners of a patch.

    found : (q,) whether there is one within reach that looks the same way
    face : (q,) of the other patch, 0 where nothing was found
    share : (q, 3) of that face's corners
    foot_mm : (q, 3); off_mm : (q,) how far
    """

    found: BoolArray
    face: IntArray
    share: Array
    foot_mm: Array
    off_mm: Array

    def of(self, values: Array, faces: IntArray) -> Array:
        """Figures of the other patch's corners at the feet, (q,)."""
        return np.asarray(np.einsum("qc,qc->q", self.share, values[faces[self.face]]))


def feet_on(here: Layer, there: Layer, reach_mm: float) -> Feet:
    """Look up every corner of a patch on another scan's patch."""
    count = len(here.corners)
    face, foot = np.zeros(count, dtype=np.int64), np.full((count, 3), np.inf)
    normals = there.vectors_mm2 / np.maximum(np.linalg.norm(there.vectors_mm2, axis=1, keepdims=True), 1e-300)
    main = (here.normals @ AXES.T).argmax(axis=1)
    cell_mm = reach_mm + 0.6 * long_edge_mm(there.patch)
    for k, axis in enumerate(AXES):
        mine, faces = np.flatnonzero((main == k) & here.inner), np.flatnonzero(normals @ axis > ALONG)
        mine, faces = _near_each_other(here.patch.vertices_mm, mine, there.patch, faces, cell_mm)
        if len(mine) and len(faces):
            face[mine], foot[mine] = _nearest(here.patch.vertices_mm[mine], there, faces)
    off = np.linalg.norm(foot - here.patch.vertices_mm, axis=1)
    share = _shares(there.patch.corners_mm[face], np.where(np.isfinite(foot), foot, 0.0))
    way = np.einsum("qc,qcx,qx->q", share, there.normals[there.patch.faces[face]], here.normals)
    return Feet((off < reach_mm) & (way > SAME_WAY), face, share, foot, off)


def _near_each_other(
    points_mm: Array, chosen: IntArray, there: Mesh, faces: IntArray, cell_mm: float
) -> tuple[IntArray, IntArray]:
    """Those of the points and faces that have some of the other near them.

    The two sides of a thin part lie near each other and look opposite ways for the most part: asking all takes longest.
    """
    cells = cells_about(there.vertices_mm[marked_once(there.faces[faces], len(there.vertices_mm))], cell_mm)
    chosen = chosen[in_cells(points_mm[chosen], [cells], cell_mm)]
    near = in_cells(there.vertices_mm, [cells_about(points_mm[chosen], cell_mm)], cell_mm)
    return chosen, faces[touching(there.faces[faces], near)]


def _nearest(points_mm: Array, there: Layer, faces: IntArray) -> tuple[IntArray, Array]:
    """By libigl's tree of boxes: which of the faces is nearest, and where."""
    corners, local = own_corners(there.patch.faces[faces], len(there.patch.vertices_mm))
    _, found, foot = igl.point_mesh_squared_distance(points_mm, there.patch.vertices_mm[corners], local)
    return faces[found], foot


def _shares(corners_mm: Array, at_mm: Array) -> Array:
    """Barycentric coordinates of places in triangles, (q, 3), none below nought."""
    a, b, c = (corners_mm[:, k] for k in range(3))
    normal = crossed(b - a, c - a)
    square = np.maximum(np.einsum("qx,qx->q", normal, normal), 1e-300)
    by_b = np.einsum("qx,qx->q", crossed(at_mm - a, c - a), normal) / square
    by_c = np.einsum("qx,qx->q", crossed(b - a, at_mm - a), normal) / square
    share = np.clip(np.column_stack([1.0 - by_b - by_c, by_b, by_c]), 0.0, 1.0)
    return np.asarray(share / np.maximum(share.sum(axis=1, keepdims=True), 1e-12))
