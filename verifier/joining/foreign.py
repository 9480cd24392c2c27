"""What stands at the foot of one view where another view shows that nothing is: putty, a clamp, a prop."""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.pose import moved
from verifier.joining.agreement import turned_by
from verifier.joining.arranging import Arrangement
from verifier.joining.putty import LEAST_POINTS, hanging_on, seen_from
from verifier.joining.view import View
from verifier.mesh import Array, BoolArray


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
        surely, perhaps, same = seen_from(moved(pose, points), turned_by(pose, normals), other.target)
        certain, before, confirmed = certain | surely, before | perhaps, confirmed | same
    lump = hanging_on(certain & ~confirmed, (before | certain) & ~confirmed, points, 2.0 * view.cloud.spacing_mm)
    if lump.sum() < LEAST_POINTS:
        return none
    return _faces_at(points, lump, view)


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
