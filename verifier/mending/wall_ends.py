"""Whether an open loop is the end of a bore's wall: the faces at it lie along an axis and look towards it."""

from dataclasses import dataclass

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.loops import ROUNDNESS
from verifier.mesh import Array, IntArray, Mesh, face_normals

# The faces at the end of a bore's wall lie along its axis: the mean square of their cosines with it is under this
# (cosine of 66 degrees), whatever ragged blend of the mouth is among them.
ALONG_WALL = 0.16
# And so many of ten look towards the axis.
LOOKING_IN = 0.8
# Nine of ten corners of a rim lie on the wall's circle within this share of its radius.
OFF_CIRCLE_SHARE = 0.15


@dataclass(frozen=True, slots=True)
class WallEnd:
    """The open end of a bore's wall: its loop, and the bore's axis, pointing out of that end."""

    loop: IntArray
    axis: Array


def wall_end(draft: Draft, loop: IntArray) -> WallEnd | None:
    """The loop as the end of a bore's wall; None for any other loop."""
    points = draft.mesh.vertices_mm[draft.edges.start[loop]]
    middle = points.mean(axis=0)
    spoke, ahead = points - middle, np.roll(points, -1, axis=0) - middle
    enclosed = 0.5 * np.cross(ahead, spoke).sum(axis=0)
    if 4.0 * np.pi * np.linalg.norm(enclosed) < ROUNDNESS * np.linalg.norm(ahead - spoke, axis=1).sum() ** 2:
        return None
    normals = normals_at(draft, loop)
    axis = np.linalg.svd(normals, full_matrices=False)[2][2]
    axis = -axis * np.sign(axis @ enclosed)
    inward = np.einsum("qx,qx->q", face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[loop // 3])), -spoke) > 0
    if np.square(normals @ axis).mean() > ALONG_WALL or inward.mean() < LOOKING_IN:
        return None
    return WallEnd(loop, axis)


def circle_of(x: Array, y: Array) -> tuple[Array, float]:
    """Middle (2,) and radius of the circle nearest to points all round it: x^2 + y^2 = 2 a x + 2 b y + c (Kasa)."""
    a, b, c = np.linalg.lstsq(np.column_stack([2.0 * x, 2.0 * y, np.ones_like(x)]), x * x + y * y, rcond=None)[0]
    return np.array([a, b]), float(np.sqrt(c + a * a + b * b))


def normals_at(draft: Draft, loop: IntArray) -> Array:
    """Normals of the faces at the loop and of those beside them, (q, 3)."""
    sides = (3 * (loop // 3)[:, None] + np.arange(3)).ravel()
    beyond = draft.edges.twin[sides]
    around = np.unique(np.concatenate([loop // 3, beyond[beyond >= 0] // 3]))
    return face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[around]))
