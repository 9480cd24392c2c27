"""A fill over a thin wall keeps off the wall's other, measured face: nowhere is it thinner than around the hole.

 rim ____       ____ rim            rim ____ ___ ____ rim
         `-._.-'    a skin              ------------- other face, and the skin kept as far from it as the rim is
------------------- other face
"""

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.draft import Draft
from verifier.mesh import Array, IntArray, Mesh, face_normals, face_vectors_mm2

# Skins over narrower holes dent a wall by less than it is thick: half a millimetre over a round of 3 mm radius.
WIDE_MM = 3.0
# Walls thicker than this are not asked about (moulded ones are 1 to 4 mm, common practice, no source).
THICKEST_MM = 5.0
# A wall may come out as thin as this share of what it is around the hole before the fill is moved.
THIN_SHARE = 0.8
# Faces of the other side look the other way within 60 degrees (cosine).
OPPOSITE = -0.5
# Middles of the other side's faces that are asked how deep they lie behind a point, and how far beside it they may be:
# some lie on a layer further back.
ASKED = 6
BESIDE_MM = 1.0
# So much of the rim must have another side within reach, and this share of it may be thinner: where it meets an edge.
RIM_SHARE = 0.8
EDGE_SHARE = 0.25


def kept_thick(draft: Draft, first_new: int, first_face: int, hole: IntArray) -> Draft:
    """The draft with the new corners of wide holes moved out where they would make the wall thinner than at the rim.

    first_new, first_face : from where on corners and faces are new; hole : the hole of each new face
    """
    vertices = draft.mesh.vertices_mm.copy()
    new = draft.mesh.faces[first_face:]
    order = np.argsort(hole, kind="stable")
    for mine in np.split(order, np.flatnonzero(np.diff(hole[order])) + 1):
        corners = np.unique(new[mine])
        fresh = corners[corners >= first_new]
        if len(fresh) and np.linalg.norm(np.ptp(vertices[corners], axis=0)) > WIDE_MM:
            vertices[fresh] += _moved_mm(draft.mesh, first_face, new[mine], corners[corners < first_new], fresh)
    moved = not np.array_equal(vertices, draft.mesh.vertices_mm)
    return draft.with_corners(vertices, draft.mesh.faces) if moved else draft


def _moved_mm(mesh: Mesh, first_face: int, fill: IntArray, rim: IntArray, fresh: IntArray) -> Array:
    """How far each fresh corner of one fill moves, (k, 3): nowhere where the wall is thick enough."""
    nowhere = np.zeros((len(fresh), 3))
    total = face_vectors_mm2(Mesh(mesh.vertices_mm, fill)).sum(axis=0)
    out = total / max(float(np.linalg.norm(total)), 1e-12)
    points = mesh.vertices_mm[np.r_[rim, fresh]]
    low, high = points.min(axis=0) - THICKEST_MM, points.max(axis=0) + THICKEST_MM
    within = np.ones(len(mesh.vertices_mm), dtype=bool)
    for axis, along in enumerate(mesh.vertices_mm.T):
        within &= (along > low[axis]) & (along < high[axis])
    near = mesh.faces[np.flatnonzero(within[mesh.faces[:first_face, 0]])]
    other = near[face_normals(Mesh(mesh.vertices_mm, near)) @ out < OPPOSITE]
    if len(other) == 0:
        return nowhere
    thick_mm = _thickness_mm(points, mesh.vertices_mm[other].mean(axis=1), out)
    at_rim, inside = thick_mm[: len(rim)], thick_mm[len(rim) :]
    walls = at_rim[(at_rim > 0.0) & (at_rim < THICKEST_MM)]
    if len(walls) < RIM_SHARE * len(rim):
        return nowhere
    least_mm = float(np.quantile(walls, EDGE_SHARE))
    wall = np.isfinite(inside)
    if not (inside[wall] < THIN_SHARE * least_mm).any():
        return nowhere
    return np.asarray(np.where(wall, np.maximum(least_mm - inside, 0.0), 0.0)[:, None] * out)


def _thickness_mm(points_mm: Array, other_mm: Array, out: Array) -> Array:
    """How deep the other side lies behind each point, negative where it lies before it; infinite where it is not."""
    across = np.linalg.svd(out[None])[2][1:]
    away, nearest = cKDTree(other_mm @ across.T).query(points_mm @ across.T, k=min(ASKED, len(other_mm)))
    away, nearest = away.reshape(len(points_mm), -1), nearest.reshape(len(points_mm), -1)
    depth = (points_mm @ out)[:, None] - (other_mm @ out)[nearest]
    beside = away < BESIDE_MM
    behind = np.where(beside & (np.abs(depth) < THICKEST_MM), depth, np.inf)
    return np.asarray(behind.min(axis=1))
