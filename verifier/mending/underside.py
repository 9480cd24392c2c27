"""The underside of a part that was cut from its table: walls led down to the table's plane, and a flat face between."""

from collections.abc import Sequence
from dataclasses import dataclass

import manifold3d
import numpy as np

from verifier.mending.discs import disc_over
from verifier.mending.draft import Draft
from verifier.mending.loops import loops_of
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, BoolArray, IntArray

# A rim more than half of which lies this near to the cut is one of the underside; a hole in the wall, however low, is
# not. A corner of such a rim that is not so near is in a notch.
AT_CUT_MM = 0.05
# A rim that encloses less, a disc of 0.8 mm, is a dint that the cut ran through. Bores are wider: the smallest screws
# of the trade want one of 1 mm (common practice, no source).
DINT_MM2 = np.pi * 0.8**2 / 4


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane with the side it looks to."""

    at_mm: Array
    normal: Array

    def heights_mm(self, points_mm: Array) -> Array:
        """How far in front of the plane each point is, (n,)."""
        return np.asarray((points_mm - self.at_mm) @ self.normal)

    def raised(self, by_mm: float) -> "Plane":
        """The plane so much further to where it looks."""
        return Plane(self.at_mm + by_mm * self.normal, self.normal)

    def turned(self) -> "Plane":
        """The same plane, looking the other way."""
        return Plane(self.at_mm, -self.normal)


def fitted_plane(points_mm: Array, towards: Array) -> Plane:
    """The least-squares plane through points, looking to the given side."""
    middle = points_mm.mean(axis=0)
    normal = np.linalg.svd(points_mm - middle, full_matrices=False)[2][2]
    return Plane(middle, normal * np.sign(normal @ towards))


def with_notches_filled(draft: Draft, plane: Plane, cut_mm: float, feet: Sequence[IntArray]) -> Draft:
    """The surface with rims that keep to the cut: where one climbs over a gap, faces between the gap's two ends.

    Led straight down, a wall from such a climb would run into the wall beside it.
    """
    new_mm, faces, count = [], [], len(draft.mesh.vertices_mm)
    for loop in feet:
        corners = draft.edges.start[loop]
        climbs = plane.heights_mm(draft.mesh.vertices_mm[corners]) > cut_mm + AT_CUT_MM
        for notch in _stretches(climbs):
            inside_mm, made = _bridge(draft, loop[notch], plane)
            number = np.concatenate([corners[notch], count + np.arange(len(inside_mm))])
            faces.append(number[made])
            new_mm.append(inside_mm)
            count += len(inside_mm)
    if not faces:
        return draft
    first = len(draft.mesh.faces)
    bridge = np.repeat(np.arange(len(faces)), [len(made) for made in faces])
    sewn = draft.with_sewn(np.concatenate(new_mm), np.concatenate(faces))
    crowded = sewn.edges.crowded // 3
    again: BoolArray = np.asarray(np.isin(bridge, bridge[crowded[crowded >= first] - first]))
    sewn = sewn.without(np.r_[np.zeros(first, dtype=bool), again])
    made = first + np.arange(len(sewn.mesh.faces) - first)
    return sewn.telling(tell_faces("Filled notches at the foot", sewn.mesh, made, bridge[~again]))


def with_underside(draft: Draft, plane: Plane, feet: Sequence[IntArray]) -> Draft:
    """Walls from rims down to the plane, or up to it, and one flat face with holes between them."""
    foot = [draft.edges.start[loop][::-1] for loop in feet]
    if not foot:
        return draft
    corners = np.concatenate(foot)
    height = plane.heights_mm(draft.mesh.vertices_mm[corners])
    base_mm = draft.mesh.vertices_mm[corners] - height[:, None] * plane.normal
    base = [
        len(draft.mesh.vertices_mm) + k for k in np.split(np.arange(len(corners)), np.cumsum([*map(len, foot)])[:-1])
    ]
    walls = [_wall(rim, below) for rim, below in zip(foot, base, strict=True)]
    flat = len(draft.mesh.vertices_mm) + _flat_face(base_mm, [*map(len, foot)], plane)
    faces = np.concatenate([*walls, flat])
    sewn = draft.with_sewn(base_mm, faces)
    made = len(draft.mesh.faces) + np.arange(len(faces))
    step = tell_faces("Closed the underside where it stood", sewn.mesh, made, np.zeros_like(made))
    return sewn.telling(step)


def feet_of(draft: Draft, plane: Plane, cut_mm: float) -> list[IntArray]:
    """The loops at the cut, as half-edges."""
    points, start = draft.mesh.vertices_mm, draft.edges.start
    rims = [(loop, points[start[loop]]) for loop in loops_of(draft)]
    return [
        loop
        for loop, rim_mm in rims
        if np.median(plane.heights_mm(rim_mm)) < cut_mm + AT_CUT_MM
        and float(np.linalg.norm(enclosed(rim_mm))) > DINT_MM2
    ]


def enclosed(rim_mm: Array) -> Array:
    """The area that a closed line goes round, as a vector square to it, mm2."""
    spoke = rim_mm - rim_mm.mean(axis=0)
    return np.asarray(0.5 * np.cross(spoke, np.roll(spoke, -1, axis=0)).sum(axis=0))


def _stretches(climbs: BoolArray) -> list[IntArray]:
    """Places of every stretch of a closed walk that climbs, with the corner before and the corner after it."""
    count = len(climbs)
    first = np.flatnonzero(climbs & ~np.roll(climbs, 1))
    last = np.flatnonzero(climbs & ~np.roll(climbs, -1))
    if len(first) == 0:
        return []
    ends = last if last[0] >= first[0] else np.roll(last, -1)
    found = [np.arange(a - 1, (b if b >= a else b + count) + 2) % count for a, b in zip(first, ends, strict=True)]
    return [places for places in found if len(places) < count]


def _bridge(draft: Draft, half_edges: IntArray, plane: Plane) -> tuple[Array, IntArray]:
    """New corners and faces between a stretch of border and the straight line from its last corner to its first."""
    points = draft.mesh.vertices_mm[draft.edges.start[half_edges]]
    beside = draft.mesh.vertices_mm[draft.mesh.faces[half_edges // 3, (half_edges + 2) % 3]]
    across = points[0] - points[-1]
    beside[-1] = points[-1] + 0.5 * across - float(np.linalg.norm(across)) * plane.normal
    disc = disc_over(points, beside)
    return disc.inside_mm, disc.faces


def _wall(rim: IntArray, below: IntArray) -> IntArray:
    """Two faces for every edge of a rim, down to the same edge of the base."""
    ahead, below_ahead = np.roll(rim, -1), np.roll(below, -1)
    return np.concatenate([np.column_stack([rim, ahead, below_ahead]), np.column_stack([rim, below_ahead, below])])


def _flat_face(base_mm: Array, lengths: list[int], plane: Plane) -> IntArray:
    """Triangles between the rims of the base as seen from below, in numbers of the base's corners."""
    across = np.linalg.svd(plane.normal[None])[2][1:]
    if np.linalg.det(np.vstack([across, -plane.normal])) < 0:
        across = across[::-1]
    seen = np.split((base_mm - plane.at_mm) @ across.T, np.cumsum(lengths)[:-1])
    return np.asarray(manifold3d.triangulate([np.ascontiguousarray(rim) for rim in seen]), dtype=np.int64)
