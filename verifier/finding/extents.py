"""Overall sizes as two flat calliper feet would close on the part, not as its farthest scatter lies."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from verifier.finding.caps import Contact, crest_of_cap, crest_of_round_end
from verifier.finding.edges import on_sharp_edge
from verifier.finding.feature import Extent, Noise, Plane
from verifier.finding.lips import RIM_SPACINGS, lies_under_lip, lip_doubt_mm
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray, IntArray

# A flat counts as lying on the foot within this angle; a foot seats itself on it.
SEATED_DEG = 0.5
# So many of the largest flats tell whether the scanner leaves lips.
FLATS_ASKED = 4
# It leans where it does so by this many of its standard uncertainties.
KNOWN_WITHIN_U = 3.0
# A flat that leans by more than this is not one whose direction is but badly known.
ASKEW_DEG = 1.5
# A moulded wall leans by half a degree to three towards the largest flat beside it (common practice, no source).
DRAFT_DEG = 3.5
# The part of a round end that faces the foot within 20 degrees is a parabola to 0.0012 of its radius.
FACING_DEG = 20.0
CAP_DEPTH_MM = 0.5
# The topmost points are scatter; a foot rests where this much surface is.
TOP_AREA_MM2 = 0.2
LEAST_POINTS = 30


def extent(
    surface: Surface, on_flat: BoolArray, planes: Sequence[Plane], noise: Noise, direction: Array, name: str
) -> Extent:
    """The size along a direction, (3,).

    on_flat : (n,) points of the surface that belong to planes
    """
    d = direction / np.linalg.norm(direction)
    low, high = (contact(surface, on_flat, planes, noise, way) for way in (-d, d))
    length_mm, u_mm = _between(low, high)
    return Extent(
        name=name, direction=d, length_mm=length_mm, u_length_mm=u_mm, ends_mm=np.stack([low.point_mm, high.point_mm])
    )


def _between(low: Contact, high: Contact) -> tuple[float, float]:
    """Distance of the two feet and its standard uncertainty.

    A foot that lies on a flat turns the calliper with it: what the flat is known to rise by on the way to where the
    other foot touches counts, where that one lies on no flat of its own.
    """
    length_mm, u_mm = high.height_mm + low.height_mm, float(np.hypot(low.u_mm, high.u_mm))
    if (low.seat is None) == (high.seat is None):
        return length_mm, u_mm
    on, other = (low, high) if high.seat is None else (high, low)
    assert on.seat is not None
    way = other.point_mm - on.point_mm
    seated_mm, u_rise_mm = abs(float(on.seat.normal @ way)), on.seat.u_rise(way)
    known = abs(seated_mm - length_mm) > KNOWN_WITHIN_U * u_rise_mm
    return (seated_mm, float(np.hypot(u_mm, u_rise_mm))) if known else (length_mm, u_mm)


def contact(surface: Surface, on_flat: BoolArray, planes: Sequence[Plane], noise: Noise, direction: Array) -> Contact:
    """Where a flat foot coming from outside along the direction comes to rest.

    On a flat that lies square: the flat, whatever lip the scanner left along its rim. On an edge or corner of flats:
    half-way from what was seen of it to where the flats meet. On a round end: the crest of its cylinder. Elsewhere: the
    crest of the curved cap (second order) that faces the foot, or the topmost averaged points.
    """
    found = _touched(surface, on_flat, planes, noise, direction)
    doubt_mm = lip_doubt_mm(surface, direction, found.height_mm) if found.seat is None else 0.0
    if doubt_mm > 0.0 and _has_lips(surface, planes, noise):
        found = replace(found, u_mm=float(np.hypot(found.u_mm, doubt_mm)))
    return on_sharp_edge(found, planes, direction, surface.spacing_mm)


def _touched(surface: Surface, on_flat: BoolArray, planes: Sequence[Plane], noise: Noise, direction: Array) -> Contact:
    """The place of the scan that is touched first, edges as they were scanned."""
    sigma = noise.spread_mm
    facing = np.flatnonzero(surface.normals @ direction.astype(np.float32) > np.cos(np.radians(FACING_DEG)))
    height = np.take(surface.points_mm, facing, axis=0) @ direction
    top = _top_mm(surface, facing, height) if len(facing) >= LEAST_POINTS else -np.inf
    whole_top = _whole_top(surface, direction)
    highest = max((p for p in planes if _seats(p, direction)), key=lambda p: _height(p, direction), default=None)
    if highest is not None and lies_under_lip(surface, highest, noise, direction, whole_top):
        return _on_plane(highest, direction)
    if whole_top > top + 0.2 + 4.0 * sigma:
        return _on_edge(surface, direction, sigma)
    seated = [p for p in planes if _seats(p, direction) and _height(p, direction) > top - 0.1 - 4.0 * sigma]
    if seated:
        return _on_plane(max(seated, key=lambda p: p.area_mm2), direction)
    cap = _cap(surface, facing[height > top - CAP_DEPTH_MM - 4.0 * sigma], direction)
    axes = _axes(planes, direction)
    drafted = [p for p in planes if _is_drafted(p, axes, direction)]
    foot = _highest_end(surface, drafted, direction, top - 0.1 - 4.0 * sigma)
    round_end = crest_of_round_end(surface, cap[~on_flat[cap]], ~on_flat, axes, noise, direction, top)
    if round_end is not None:
        # The corners beside a wall with draft are round too, and their crest is that of half their height; the rounding
        # of its rim is too narrow for its crest to be known as well as the wall.
        return foot if foot is not None and foot.height_mm > round_end.height_mm - round_end.u_mm else round_end
    if foot is not None and foot.height_mm > top - 2.0 * sigma:
        return foot
    if len(cap) < LEAST_POINTS:
        return _on_edge(surface, direction, sigma)
    if on_flat[cap].mean() > 0.5:
        nearly = [*drafted, *(p for p in planes if p.normal @ direction > np.cos(np.radians(ASKEW_DEG)))]
        if not nearly:
            # A flat that lies askew: the foot rests on its edge.
            return _on_edge(surface, direction, sigma)
        if (end := _highest_end(surface, nearly, direction, top - 0.1 - 4.0 * sigma)) is not None:
            return end
    return crest_of_cap(surface, cap, noise, direction) or _on_edge(surface, direction, sigma)


def _is_drafted(plane: Plane, axes: Sequence[Array], direction: Array) -> bool:
    """Whether a flat leans as a moulded wall does: a little, along the largest flat's normal, and surely."""
    lean_rad = _lean_rad(plane, direction)
    if not axes or not KNOWN_WITHIN_U * plane.u_tilt_rad < lean_rad < np.radians(DRAFT_DEG):
        return False
    return abs(float(plane.normal @ axes[0])) > float(np.cos(np.radians(45.0)) * np.sin(lean_rad))


def _highest_end(surface: Surface, planes: Sequence[Plane], direction: Array, least_mm: float) -> Contact | None:
    """The end that stands out farthest of those flats that are known to lean; None where all lie under a height."""
    leaning = [p for p in planes if _lean_rad(p, direction) > KNOWN_WITHIN_U * p.u_tilt_rad]
    ends = [end for p in leaning if (end := _high_end(p, surface, direction)).height_mm > least_mm]
    return max(ends, key=lambda end: end.height_mm, default=None)


def _has_lips(surface: Surface, planes: Sequence[Plane], noise: Noise) -> bool:
    """Whether one of the largest flats of this scan lies under a lip; narrow ones, all rim, are not asked."""
    return any(
        lies_under_lip(surface, plane, noise, plane.normal, _whole_top(surface, plane.normal))
        for plane in planes[:FLATS_ASKED]
        if _width_mm(plane) > 2.0 * RIM_SPACINGS * surface.spacing_mm
    )


def _width_mm(plane: Plane) -> float:
    """Area over length."""
    away = plane.points_mm - plane.points_mm.mean(axis=0)
    return plane.area_mm2 / max(float(np.ptp(away @ np.linalg.svd(away, full_matrices=False)[2][0])), 1e-9)


def _seats(plane: Plane, direction: Array) -> bool:
    return bool(plane.normal @ direction > np.cos(np.radians(SEATED_DEG)))


def _height(plane: Plane, direction: Array) -> float:
    return float(plane.centre_mm @ direction)


def _on_plane(plane: Plane, direction: Array) -> Contact:
    return Contact(_height(plane, direction), plane.u_offset_mm, plane.centre_mm, plane)


def _lean_rad(plane: Plane, direction: Array) -> float:
    return float(np.arccos(np.clip(plane.normal @ direction, -1.0, 1.0)))


def _high_end(plane: Plane, surface: Surface, direction: Array) -> Contact:
    """The place of a flat that leans a little that a foot meets first, as of a lever's flank beside its round end.

    Between the last points of the flat and its end lies up to a spacing.
    """
    away = plane.points_mm - plane.centre_mm
    on_it = plane.centre_mm + away - (away @ plane.normal)[:, None] * plane.normal
    place = on_it[int(np.argmax(on_it @ direction))]
    short_mm = surface.spacing_mm * np.sin(_lean_rad(plane, direction))
    u_mm = np.sqrt(plane.u_offset_mm**2 + plane.u_rise(place - plane.centre_mm) ** 2 + short_mm**2 / 3.0)
    return Contact(float(place @ direction), float(u_mm), place)


def _axes(planes: Sequence[Plane], direction: Array) -> list[Array]:
    """Plane normals square to the direction (2 degrees), once each: a round end's axis is nearly always one."""
    axes: list[Array] = []
    for plane in planes:
        square = abs(float(plane.normal @ direction)) < np.sin(np.radians(2.0))
        if square and all(abs(float(plane.normal @ axis)) < 0.99 for axis in axes):
            axes.append(plane.normal)
    return axes


def _top_mm(surface: Surface, chosen: IntArray, height: Array) -> float:
    """Height above which TOP_AREA_MM2 of the chosen surface lies."""
    high = np.flatnonzero(height > height.max() - 2.0)
    order = high[np.argsort(-height[high])]
    reached = int(np.searchsorted(np.cumsum(surface.areas_mm2[chosen[order]]), TOP_AREA_MM2))
    return float(height[order[min(reached, len(order) - 1)]])


def _whole_top(surface: Surface, direction: Array) -> float:
    seen = np.flatnonzero(surface.seen) if surface.seen.any() else np.arange(len(surface.points_mm))
    return _top_mm(surface, seen, np.take(surface.points_mm, seen, axis=0) @ direction)


def _cap(surface: Surface, chosen: IntArray, direction: Array) -> IntArray:
    """The connected patch of the cap that reaches highest."""
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    tops = np.full(count, -np.inf)
    for k in np.flatnonzero(area > TOP_AREA_MM2):
        among = chosen[patch == k]
        tops[k] = _top_mm(surface, among, surface.points_mm[among] @ direction)
    return np.asarray(chosen[patch == int(np.argmax(tops))])


def _on_edge(surface: Surface, direction: Array, sigma_mm: float) -> Contact:
    """Topmost of the points averaged with their neighbours; known to half a spacing, since edges are rounded."""
    seen = np.flatnonzero(surface.seen) if surface.seen.any() else np.arange(len(surface.points_mm))
    height = surface.points_mm @ direction
    high = seen[height[seen] > height[seen].max() - 2.0 - 4.0 * sigma_mm]
    near = surface.neighbours[high]
    mean = (near @ height + height[high]) / (near.sum(axis=1) + 1.0)
    best = int(np.argmax(mean))
    u_mm = float(np.hypot(0.5 * surface.spacing_mm, sigma_mm))
    return Contact(float(mean[best]), u_mm, surface.points_mm[high[best]])
