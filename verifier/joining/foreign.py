"""What stands at the foot of one view where another view shows that nothing is: putty, a clamp, a prop."""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.pose import moved
from verifier.joining.agreement import RIM_NEIGHBOURS, turned_by
from verifier.joining.arranging import Arrangement
from verifier.joining.view import View
from verifier.mending.edges import components
from verifier.mesh import Array, BoolArray

# A surface this far before another view's, which faces alike, stands where that one saw nothing; nearer is scatter,
# and farther away it may be another face of the part.
LEAST_BEFORE_MM, MOST_BEFORE_MM = 0.5, 8.0
ALIKE_COSINE = 0.5
# Surface that no other view shows is foreign too where it hangs on such, and lies before what others show, facing
# whatever way but the opposite one.
ANY_COSINE = -0.3
CONFIRMED_MM = 0.35
# Fewer points than this are no lump.
LEAST_POINTS = 12


def foreign_faces(way: Arrangement, views: Sequence[View]) -> tuple[BoolArray, ...]:
    """For every view (m,) the faces that are no part of the part, table and debris not among them."""
    return tuple(_foreign(k, way, views) for k in range(len(views)))


def _foreign(k: int, way: Arrangement, views: Sequence[View]) -> BoolArray:
    view = views[k]
    foot = np.flatnonzero(view.foot)
    none = np.zeros(len(view.mesh.faces), dtype=bool)
    if len(foot) < LEAST_POINTS:
        return none
    points, normals = view.cloud.points_mm[foot], view.cloud.normals[foot]
    certain, before, confirmed = np.zeros((3, len(foot)), dtype=bool)
    for j, other in enumerate(views):
        if j == k:
            continue
        pose: Array = np.asarray(np.linalg.inv(way.poses[j]) @ way.poses[k])
        surely, perhaps, same = _seen_from(moved(pose, points), turned_by(pose, normals), other)
        certain, before, confirmed = certain | surely, before | perhaps, confirmed | same
    lump = _hanging_on(certain & ~confirmed, (before | certain) & ~confirmed, points, 2.0 * view.cloud.spacing_mm)
    if lump.sum() < LEAST_POINTS:
        return none
    return _faces_at(points, lump, view)


def _seen_from(places: Array, normals: Array, other: View) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Which points stand before the other's surface for certain, which perhaps, and which lie on it."""
    near = other.target.tree.query(places, k=RIM_NEIGHBOURS)[1]
    facing = np.einsum("nkj,nj->nk", other.cloud.normals[near], normals)
    apart = places[:, None] - other.cloud.points_mm[near]
    away = np.einsum("nkj,nkj->nk", apart, other.cloud.normals[near])
    aside = np.sqrt(np.maximum(np.einsum("nkj,nkj->nk", apart, apart) - away**2, 0.0))
    beneath = aside < 1.3 * other.cloud.spacing_mm
    same = (beneath & (np.abs(away) < CONFIRMED_MM) & (facing > ALIKE_COSINE)).any(axis=1)
    before = (beneath & (away > LEAST_BEFORE_MM) & (away < MOST_BEFORE_MM))[:, 0]
    return before & (facing[:, 0] > ALIKE_COSINE), before & (facing[:, 0] > ANY_COSINE), same


def _hanging_on(seeds: BoolArray, allowed: BoolArray, points_mm: Array, reach_mm: float) -> BoolArray:
    """The allowed points that hang together with many seeds."""
    chosen = np.flatnonzero(allowed)
    if len(chosen) == 0:
        return allowed
    pairs = cKDTree(points_mm[chosen]).query_pairs(reach_mm, output_type="ndarray")
    count, lump = components(len(chosen), pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64))
    enough = np.bincount(lump[seeds[chosen]], minlength=count) >= LEAST_POINTS
    found = np.zeros(len(allowed), dtype=bool)
    found[chosen[enough[lump]]] = True
    return found


def _faces_at(points_mm: Array, lump: BoolArray, view: View) -> BoolArray:
    """The kept faces whose nearest foot point is of the lump, and no farther than the points lie apart."""
    faces = np.flatnonzero(view.keep_faces)
    low, high = points_mm[lump].min(axis=0) - 1.0, points_mm[lump].max(axis=0) + 1.0
    middles = view.mesh.vertices_mm[view.mesh.faces[faces]].mean(axis=1)
    inside = ((middles > low) & (middles < high)).all(axis=1)
    foreign = np.zeros(len(view.mesh.faces), dtype=bool)
    if inside.any():
        away, near = cKDTree(points_mm).query(middles[inside])
        foreign[faces[inside]] = lump[near] & (away < 2.0 * view.cloud.spacing_mm)
    return foreign
