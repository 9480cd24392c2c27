"""Seams that rounding left open: borders that run along each other closer than any scanner can tell apart."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.draft import Draft
from verifier.mending.edges import components
from verifier.mending.solid import MendStep
from verifier.mesh import IntArray, Mesh, extents_mm

# Some exporters compute the same corner twice and round differently. A millionth of the diagonal is 0.1 micron on a
# 100 mm part, a thousand times less than the spacing of a scan's points.
SEAM_SHARE_OF_DIAGONAL = 1e-6


def close_seams(draft: Draft) -> Draft:
    """Weld border corners closer than a millionth of the diagonal, and only those by which a border edge closes.

    Welding everything within that distance would collapse real faces of a finely detailed part.
    """
    edges = draft.edges
    border = edges.border
    if len(border) == 0:
        return draft
    start, end = edges.start[border], edges.ends_of(border)
    near, left, right = _near_corners(draft.mesh, np.unique(start))
    group = np.arange(len(draft.mesh.vertices_mm))
    group[near] = near[_lowest_of_group(len(near), left, right)]
    closing = _closing(group[start], group[end], len(group))
    welded = np.zeros(len(group), dtype=bool)
    welded[start[closing]] = welded[end[closing]] = True
    new_number = np.where(welded, group, np.arange(len(group)))
    moved = int((new_number != np.arange(len(group))).sum())
    if moved == 0:
        return draft
    faces = new_number[draft.mesh.faces]
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    mesh = Mesh(draft.mesh.vertices_mm, faces[kept])
    step = MendStep("Closed seams", int(closing.sum()) // 2, 0.0)
    closed = Draft(mesh, draft.origin[kept], draft.steps).telling(step)
    return closed if len(closed.edges.border) < len(border) else draft


def _near_corners(mesh: Mesh, corners: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """The corners looked at, and the pairs among them that are within the seam width."""
    reach_mm = SEAM_SHARE_OF_DIAGONAL * float(np.linalg.norm(extents_mm(mesh)))
    pairs = cKDTree(mesh.vertices_mm[corners]).query_pairs(reach_mm, output_type="ndarray")
    return corners, pairs[:, 0], pairs[:, 1]


def _lowest_of_group(count: int, left: IntArray, right: IntArray) -> IntArray:
    """For every one of `count` corners the lowest one it hangs together with."""
    groups, label = components(count, left, right)
    lowest = np.full(groups, count)
    np.minimum.at(lowest, label, np.arange(count))
    return lowest[label]


def _closing(start: IntArray, end: IntArray, count: int) -> np.ndarray:
    """Which border edges meet their like once their ends are welded."""
    keys = np.minimum(start, end) * count + np.maximum(start, end)
    _, name, times = np.unique(keys, return_inverse=True, return_counts=True)
    return np.asarray((times[name] == 2) & (start != end))
