"""What differs between a part and its reference: bores grown, faces worn, the part bent, features gone or new."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from scipy.special import ndtri

from verifier.comparing.pose import moved, turned
from verifier.finding.feature import Cylinder, Features, Plane
from verifier.measuring.candidate import root_sum_square
from verifier.measuring.cylinders import centre_distance
from verifier.mesh import Array

What = Literal["diameter", "centre distance", "worn", "tilt", "gone", "new"]

# Two features are the same when they lie within this of each other after the two scans were laid together.
SAME_AXIS_DEG, SAME_PLACE_MM, SAME_DIAMETER_SHARE = 5.0, 1.0, 0.25
# Rows that change by chance: one comparison in a hundred calls any row changed that is not.
FAMILY_ERROR = 0.01
# How well two scans are laid on each other, over ten parts: 0.014 mm at the worst point of 40 pairs, as a standard
# uncertainty a third of it.
U_POSE_MM = 0.005


@dataclass(frozen=True, slots=True)
class Seen:
    """What was found on one of the two, and what all of it shares.

    u_scale : standard uncertainty of its scale, a share
    u_coat_mm, u_coat_inside_mm : standard uncertainties of the powder on one face and on one wall of a bore
    """

    features: Features
    u_scale: float = 0.0
    u_coat_mm: float = 0.0
    u_coat_inside_mm: float = 0.0

    def u_wall_mm(self, kind: str) -> float:
        """Of the powder on the wall of a bore or a boss."""
        return self.u_coat_inside_mm if kind == "bore" else self.u_coat_mm


@dataclass(frozen=True, slots=True)
class Change:
    """One thing before and after, mm (degrees for a tilt).

    name : of the feature on the later scan, or of the two it lies between; of the earlier scan for one that is gone
    change : later less earlier; for a worn face how much lower it lies (positive: material is gone)
    u : standard uncertainty of the change; of a tilt, about each of two axes
    significant : larger than chance explains, all rows taken together
    """

    name: str
    what: What
    before: float | None
    after: float | None
    change: float
    u: float
    significant: bool


@dataclass(frozen=True, slots=True)
class _Row:
    name: str
    what: What
    before: float | None
    after: float | None
    change: float
    u: float


def changes(before: Seen, after: Seen, pose: Array) -> tuple[Change, ...]:
    """Match what was found on a part and on its reference, and tell what changed by how much, the surest first.

    pose : (4, 4), lays the later one on the earlier; that of most of the surface, which what a few faces lost does
        not move. Where it is not sure, neither are the rows.
    """
    u_scale, u_coat_mm = np.hypot(before.u_scale, after.u_scale), np.hypot(before.u_coat_mm, after.u_coat_mm)
    pairs = _same_cylinders(before.features.cylinders, after.features.cylinders, pose)
    planes = _same_planes(before.features.planes, after.features.planes, pose)
    rows = [
        *_diameters(pairs, before, after),
        *_centre_distances(pairs, (before.features.planes, after.features.planes), u_scale),
        *_worn(planes, pose, u_coat_mm),
        *_tilts(planes, pose),
        *_gone_and_new(before.features, after.features, pairs),
    ]
    return tuple(sorted(_judged(rows), key=lambda row: -_sureness(row)))


def _judged(rows: Sequence[_Row]) -> Iterable[Change]:
    """Each row with whether it is more than chance, the error shared out among all rows (Bonferroni)."""
    error = FAMILY_ERROR / max(len(rows), 1)
    k = float(ndtri(1.0 - error / 2.0))
    # A tilt is the length of two angles that each scatter by u (Rayleigh's distribution).
    k_tilt = float(np.sqrt(-2.0 * np.log(error)))
    for row in rows:
        sure = row.what in ("gone", "new") or abs(row.change) > (k_tilt if row.what == "tilt" else k) * row.u
        yield Change(row.name, row.what, row.before, row.after, row.change, row.u, sure)


def _sureness(row: Change) -> float:
    return abs(row.change) / row.u if row.u > 0.0 else np.inf


def _same_cylinders(
    before: Sequence[Cylinder], after: Sequence[Cylinder], pose: Array
) -> list[tuple[Cylinder, Cylinder]]:
    """Bores and bosses that lie in one place on both, the nearest first; each is used once."""
    found = [(_apart_mm(one, other, pose), i, j) for i, one in enumerate(before) for j, other in enumerate(after)]
    pairs, used = [], set()
    for apart, i, j in sorted(found):
        if apart <= SAME_PLACE_MM and ("before", i) not in used and ("after", j) not in used:
            used |= {("before", i), ("after", j)}
            pairs.append((before[i], after[j]))
    return pairs


def _apart_mm(one: Cylinder, other: Cylinder, pose: Array) -> float:
    """Distance of the later middle from the earlier axis; infinite for two that cannot be the same."""
    axis = turned(pose, other.axis[None])[0]
    alike = one.kind == other.kind and abs(one.diameter_mm - other.diameter_mm) < SAME_DIAMETER_SHARE * one.diameter_mm
    if not alike or abs(axis @ one.axis) < np.cos(np.radians(SAME_AXIS_DEG)):
        return float("inf")
    way = moved(pose, other.axis_point_mm[None])[0] - one.axis_point_mm
    along = way @ one.axis
    within = abs(along) < 0.5 * (one.depth_mm + other.depth_mm)
    return float(np.linalg.norm(way - along * one.axis)) if within else float("inf")


def _same_planes(before: Sequence[Plane], after: Sequence[Plane], pose: Array) -> list[tuple[Plane, Plane]]:
    """Flats that lie over each other, the largest first; each is used once."""
    left, pairs = list(before), []
    for plane in after:
        same = next((each for each in left if _lies_over(plane, each, pose)), None)
        if same is not None:
            left.remove(same)
            pairs.append((same, plane))
    return pairs


def _lies_over(plane: Plane, earlier: Plane, pose: Array) -> bool:
    normal, centre = turned(pose, plane.normal[None])[0], moved(pose, plane.centre_mm[None])[0]
    way = centre - earlier.centre_mm
    away = way @ earlier.normal
    aside = float(np.linalg.norm(way - away * earlier.normal))
    facing = normal @ earlier.normal > np.cos(np.radians(SAME_AXIS_DEG))
    return bool(facing and abs(away) < SAME_PLACE_MM and aside < 0.5 * np.sqrt(min(plane.area_mm2, earlier.area_mm2)))


def _diameters(pairs: Sequence[tuple[Cylinder, Cylinder]], before: Seen, after: Seen) -> Iterable[_Row]:
    for one, other in pairs:
        change = other.diameter_mm - one.diameter_mm
        by_scale = [seen.u_scale * one.diameter_mm for seen in (before, after)]
        by_coat = [2.0 * seen.u_wall_mm(one.kind) for seen in (before, after)]
        u = float(np.linalg.norm([one.u_diameter_mm, other.u_diameter_mm, *by_scale, *by_coat]))
        yield _Row(other.name, "diameter", one.diameter_mm, other.diameter_mm, change, u)


def _centre_distances(
    pairs: Sequence[tuple[Cylinder, Cylinder]], planes: tuple[Sequence[Plane], Sequence[Plane]], u_scale: float
) -> Iterable[_Row]:
    """Between axes that are parallel on both scans: what is bent or stretched shows there."""
    for (one, late_one), (other, late_other) in combinations(pairs, 2):
        if abs(one.axis @ other.axis) < np.cos(np.radians(SAME_AXIS_DEG)):
            continue
        before, after = centre_distance(one, other, planes[0]), centre_distance(late_one, late_other, planes[1])
        if before is None or after is None or before.value < 0.5:  # concentric: there is no distance to speak of
            continue
        u = root_sum_square(before.u, after.u, u_scale * before.value)
        change = after.value - before.value
        yield _Row(f"{late_one.name} to {late_other.name}", "centre distance", before.value, after.value, change, u)


def _worn(pairs: Sequence[tuple[Plane, Plane]], pose: Array, u_coat_mm: float) -> Iterable[_Row]:
    """How much lower each flat lies than it did."""
    for earlier, later in pairs:
        away = float(earlier.normal @ (moved(pose, later.centre_mm[None])[0] - earlier.centre_mm))
        u = float(np.linalg.norm([earlier.u_offset_mm, later.u_offset_mm, U_POSE_MM, u_coat_mm]))
        yield _Row(later.name, "worn", 0.0, away, -away, u)


def _tilts(pairs: Sequence[tuple[Plane, Plane]], pose: Array) -> Iterable[_Row]:
    """How far each flat is turned from where it was, degrees."""
    for earlier, later in pairs:
        sine = float(np.linalg.norm(np.cross(turned(pose, later.normal[None])[0], earlier.normal)))
        across = max(float(np.sqrt(later.area_mm2)), 1.0)
        u = np.degrees(np.sqrt(earlier.u_tilt_rad**2 + later.u_tilt_rad**2 + (U_POSE_MM / across) ** 2))
        tilt = float(np.degrees(np.arcsin(min(sine, 1.0))))
        yield _Row(later.name, "tilt", 0.0, tilt, tilt, float(u))


def _gone_and_new(before: Features, after: Features, pairs: Sequence[tuple[Cylinder, Cylinder]]) -> Iterable[_Row]:
    """Bores and bosses on one scan alone: broken out, filled, drilled, or not seen."""
    matched = {id(each) for pair in pairs for each in pair}
    for each in before.cylinders:
        if id(each) not in matched:
            yield _Row(each.name, "gone", each.diameter_mm, None, -each.diameter_mm, each.u_diameter_mm)
    for each in after.cylinders:
        if id(each) not in matched:
            yield _Row(each.name, "new", None, each.diameter_mm, each.diameter_mm, each.u_diameter_mm)
