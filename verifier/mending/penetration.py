"""How deep two faces run into each other: by the axis on which their shadows overlap least (separating axes)."""

import numpy as np

from verifier.mesh import Array, BoolArray, IntArray, Mesh

# Faces that run less deep than this into each other touch: a tenth of what a 32-bit float can tell apart at 100 mm.
# Exact predicates call two faces of one flat fan crossing when rounding lifts a corner by 1e-14 mm out of their plane.
TOUCH_MM = 1e-6
# Products of edges shorter than this (mm2, or mm3 in the plane) have no direction: the edges are parallel.
NO_AXIS = 1e-12


def run_through_each_other(mesh: Mesh, pairs: IntArray) -> BoolArray:
    """Which pairs of faces, (k, 2), are deeper in each other than a touch.

    Two faces in one plane overlap when their shadows do on every axis in that plane; others, on every axis there is.
    """
    one, other = mesh.corners_of(pairs[:, 0]), mesh.corners_of(pairs[:, 1])
    here = one[:, :1]
    one, other = one - here, other - here
    edges, far_edges = np.roll(one, -1, axis=1) - one, np.roll(other, -1, axis=1) - other
    normal, far_normal = (np.cross(side[:, 0], side[:, 1])[:, None] for side in (edges, far_edges))
    in_plane = np.cross(normal, np.concatenate([edges, far_edges], axis=1))
    crossed = np.cross(edges[:, :, None], far_edges[:, None]).reshape(-1, 9, 3)
    others = np.concatenate([normal, far_normal, crossed, np.cross(far_normal, far_edges)], axis=1)
    depth = _way_apart_mm(one, other, in_plane).min(axis=1)
    depth_beyond = _way_apart_mm(one, other, others).min(axis=1)
    one_plane = np.ptp(_shadow_mm(np.concatenate([one, other], axis=1), normal), axis=2)[:, 0] < TOUCH_MM
    return np.asarray(np.where(one_plane, depth, np.minimum(depth, depth_beyond)) > TOUCH_MM)


def _way_apart_mm(one: Array, other: Array, axes: Array) -> Array:
    """How far one face must move along each axis for the shadows to part, (k, a); infinite on an axis of no length."""
    first, second = _shadow_mm(one, axes), _shadow_mm(other, axes)
    way = np.minimum(first.max(axis=2) - second.min(axis=2), second.max(axis=2) - first.min(axis=2))
    return np.where(np.linalg.norm(axes, axis=2) > NO_AXIS, way, np.inf)


def _shadow_mm(corners: Array, axes: Array) -> Array:
    """Where corners, (k, c, 3), fall on axes made as long as one, (k, a, 3): (k, a, c)."""
    length = np.linalg.norm(axes, axis=2, keepdims=True)
    unit = np.divide(axes, length, out=np.zeros_like(axes), where=length > NO_AXIS)
    return np.asarray(np.einsum("kcx,kax->kac", corners, unit))
