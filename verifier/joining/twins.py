"""Whether two arrangements of the views make one and the same part, so that it does not matter which is taken."""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.pose import moved
from verifier.joining.agreement import turned_by
from verifier.joining.arranging import Arrangement
from verifier.joining.view import View
from verifier.mesh import Array

# Of two surfaces within this nothing at a bench differs; so many of the nearest points are looked at for one that
# faces alike.
ALIKE_MM, NEIGHBOURS, ALIKE_COSINE = 0.3, 6, 0.7
# A boss or a bore that is not there is a place where most of a point's neighbours miss.
MISSED_AROUND = 6
MOST_MISSED = 0.0004


def alike(best: Arrangement, other: Arrangement, views: Sequence[View]) -> bool:
    """Whether either arrangement puts every view onto the surface that the other one makes.

    One way is not enough: two outsides of a shallow box laid back to back make a thicker box, and either side of it
    lies on it. Only what turns the views against each other is asked: an arrangement moved as a whole is the same one.
    """
    return _covers(best, other, views) and _covers(other, best, views)


def _covers(best: Arrangement, other: Arrangement, views: Sequence[View]) -> bool:
    union, normals = _union(best, views)
    tree = cKDTree(union)
    spacing = max(view.cloud.spacing_mm for view in views)
    return any(_lies_on(other, anchor, best, views, tree, normals, spacing) for anchor in range(len(views)))


def _union(each: Arrangement, views: Sequence[View]) -> tuple[Array, Array]:
    points = [moved(each.poses[k], view.cloud.points_mm) for k, view in enumerate(views)]
    normals = [turned_by(each.poses[k], view.cloud.normals) for k, view in enumerate(views)]
    return np.concatenate(points), np.concatenate(normals)


def _lies_on(
    other: Arrangement,
    anchor: int,
    best: Arrangement,
    views: Sequence[View],
    tree: cKDTree,
    normals: Array,
    spacing_mm: float,
) -> bool:
    """With one of the views held in its place."""
    back = best.poses[anchor] @ np.linalg.inv(other.poses[anchor])
    for k, view in enumerate(views):
        if k == anchor:
            continue
        pose = back @ other.poses[k]
        near = tree.query(moved(pose, view.asked.points_mm), k=NEIGHBOURS)[1]
        facing = np.einsum("nkj,nj->nk", normals[near], turned_by(pose, view.asked.normals))
        places = moved(pose, view.asked.points_mm)[:, None] - tree.data[near]
        away = np.abs(np.einsum("nkj,nkj->nk", places, normals[near]))
        aside = np.sqrt(np.maximum(np.einsum("nkj,nkj->nk", places, places) - away**2, 0.0))
        on = (facing > ALIKE_COSINE) & (away < ALIKE_MM) & (aside < 1.5 * spacing_mm)
        missed = ~on.any(axis=1) & ~view.asked_foot
        lost = missed & (missed[view.beside].sum(axis=1) >= MISSED_AROUND)
        if lost.mean() > MOST_MISSED:
            return False
    return True
