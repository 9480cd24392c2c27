"""How far one solid is off another: every corner's signed distance, and what that says by region and by sign."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.align import align, size_mm
from verifier.comparing.alignment import Alignment
from verifier.comparing.cloud import cloud_of
from verifier.comparing.distances import nearest_on, searchable
from verifier.comparing.histogram import Histogram, histogram_of
from verifier.comparing.polishing import polished
from verifier.comparing.pose import moved
from verifier.finding.feature import Cylinder, Features, Plane
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_areas_mm2

# Shares of the surface are told within these; 0.1 and 0.2 mm are what a print's sizes are judged by.
WITHIN_MM = (0.05, 0.1, 0.2, 0.5)
# One corner in a hundred may be a speck or a rim; the largest deviation told is the one 99 % stay under.
LARGEST_QUANTILE = 0.99
POLISHING_POINTS = 12_000
# Beyond this share of the part's size the surfaces are not the same one any more.
SAME_SURFACE_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class Spread:
    """Deviations over one region, each corner counted by its area.

    least_mm, greatest_mm : what one hundredth of the area lies below, and above
    """

    name: str
    area_mm2: float
    mean_mm: float
    rms_mm: float
    least_mm: float
    greatest_mm: float


@dataclass(frozen=True, slots=True)
class Side:
    """What lies outside the reference, or inside: its share of the area, mean, and what 99 % of it stays under."""

    share: float
    mean_mm: float
    largest_mm: float


@dataclass(frozen=True, slots=True)
class Deviation:
    """A solid against its reference.

    away_mm : (n,) for each corner of the solid, positive where it stands proud of the reference
    compared : (n,) bool, the corner was measured and so was what it was compared with
    within : share of the compared area within each of WITHIN_MM
    """

    alignment: Alignment
    away_mm: Array
    compared: BoolArray
    whole: Spread
    outside: Side
    inside: Side
    within: tuple[tuple[float, float], ...]
    regions: tuple[Spread, ...]
    histogram: Histogram


def deviation_of(
    solid: Solid, features: Features | None, reference: Solid, reference_features: Features | None
) -> Deviation:
    """Lay a solid on its reference and tell how far it is off.

    features, reference_features : found on the two; they name the regions and find the pose
    """
    moving, fixed = cloud_of(solid.mesh, features), cloud_of(reference.mesh, reference_features)
    alignment = align(moving, fixed)
    target = searchable(reference.mesh)
    same_mm = SAME_SURFACE_SHARE * size_mm(moving)
    pose = polished(alignment.pose, moving.thinned(POLISHING_POINTS).points_mm, target, same_mm)
    found = nearest_on(target, moved(pose, solid.mesh.vertices_mm))
    areas = _areas_mm2(solid.mesh, _measured(solid))
    compared = (areas > 0) & _measured(reference)[found.faces]
    return _told(replace(alignment, pose=pose), found.away_mm, compared, areas, regions_of(solid.mesh, features))


def away_at(deviation: Deviation, solid: Solid, points_mm: Array) -> Array:
    """Signed deviation at points on or near the solid, such as the corners of its picture, (k,).

    solid : the one whose corners the deviation is of, in the frame of the points
    NaN where nothing was compared.
    """
    _, nearest = cKDTree(solid.mesh.vertices_mm).query(points_mm)
    return np.where(deviation.compared[nearest], deviation.away_mm[nearest], np.nan)


def _measured(solid: Solid) -> BoolArray:
    return np.asarray(solid.origin == Origin.MEASURED)


def _areas_mm2(mesh: Mesh, counted: BoolArray) -> Array:
    """A third of the counted faces round each corner, (n,)."""
    faces = mesh.faces[counted]
    thirds = np.repeat(face_areas_mm2(Mesh(mesh.vertices_mm, faces)) / 3.0, 3)
    return np.asarray(np.bincount(faces.ravel(), thirds, minlength=len(mesh.vertices_mm)), dtype=np.float64)


def regions_of(mesh: Mesh, features: Features | None) -> dict[str, IntArray]:
    """The corners of every bore, boss and flat that was found, and of what is none of them, by name."""
    if features is None:
        return {}
    named: tuple[Cylinder | Plane, ...] = (*features.cylinders, *features.planes)
    found = {each.name: np.unique(mesh.faces[each.faces]) for each in named}
    rest = np.ones(len(mesh.vertices_mm), dtype=bool)
    for corners in found.values():
        rest[corners] = False
    return found | {"elsewhere": np.flatnonzero(rest)}


def _told(
    alignment: Alignment, away_mm: Array, compared: BoolArray, areas_mm2: Array, regions: Mapping[str, IntArray]
) -> Deviation:
    away, area = away_mm[compared], areas_mm2[compared]
    total = max(float(area.sum()), 1e-300)
    return Deviation(
        alignment=alignment,
        away_mm=away_mm,
        compared=compared,
        whole=spread_of("whole surface", away, area),
        outside=_side(away[away > 0], area[away > 0], total),
        inside=_side(-away[away < 0], area[away < 0], total),
        within=tuple((limit, float(area[np.abs(away) <= limit].sum()) / total) for limit in WITHIN_MM),
        regions=tuple(_spreads(away_mm, compared, areas_mm2, regions)),
        histogram=histogram_of(away, area),
    )


def _spreads(
    away_mm: Array, compared: BoolArray, areas_mm2: Array, regions: Mapping[str, IntArray]
) -> Iterable[Spread]:
    for name, corners in regions.items():
        inside = corners[compared[corners]]
        if len(inside):
            yield spread_of(name, away_mm[inside], areas_mm2[inside])


def spread_of(name: str, away_mm: Array, areas_mm2: Array) -> Spread:
    """Mean, rms and the ends of deviations (n,), each counted by its area; noughts where there is none."""
    area = float(areas_mm2.sum())
    if area <= 0.0:
        return Spread(name, 0.0, 0.0, 0.0, 0.0, 0.0)
    mean, square = (float((value * areas_mm2).sum()) / area for value in (away_mm, away_mm**2))
    least, greatest = _quantiles(away_mm, areas_mm2, (1.0 - LARGEST_QUANTILE, LARGEST_QUANTILE))
    return Spread(name, area, mean, float(np.sqrt(square)), least, greatest)


def _side(depth_mm: Array, areas_mm2: Array, total_mm2: float) -> Side:
    """One side's deviations as lengths, (n,)."""
    area = float(areas_mm2.sum())
    if area <= 0.0:
        return Side(0.0, 0.0, 0.0)
    largest = _quantiles(depth_mm, areas_mm2, (LARGEST_QUANTILE,))[0]
    return Side(area / total_mm2, float((depth_mm * areas_mm2).sum()) / area, largest)


def _quantiles(values: Array, weights: Array, at: tuple[float, ...]) -> list[float]:
    """Values below which these shares of the weight lie."""
    order = np.argsort(values)
    up_to = np.cumsum(weights[order])
    return [float(values[order[min(int(np.searchsorted(up_to, share * up_to[-1])), len(order) - 1)]]) for share in at]
