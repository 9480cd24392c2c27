"""Overall sizes as two flat calliper feet would close on the part, not as its farthest scatter lies."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.finding.doubt import fit_covariance
from verifier.finding.feature import Extent, Noise, Plane
from verifier.finding.fits import fit_cylinder, frame_along
from verifier.finding.robust import tukey_weights
from verifier.finding.surface import Surface
from verifier.mesh import Array, IntArray

# A flat counts as lying on the foot within this angle; a foot seats itself on it.
SEATED_DEG = 0.5
# The part of a round end that faces the foot within 20 degrees is a parabola to 0.0012 of its radius.
FACING_DEG = 20.0
CAP_DEPTH_MM = 0.5
# The topmost points are scatter; a foot rests where this much surface is.
TOP_AREA_MM2 = 0.2
LEAST_POINTS = 30
LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.5, 300.0


@dataclass(frozen=True, slots=True)
class Contact:
    """Where one foot rests: height along the direction, its standard uncertainty, and the place (3,)."""

    height_mm: float
    u_mm: float
    point_mm: Array


def extent(surface: Surface, planes: Sequence[Plane], noise: Noise, direction: Array, name: str) -> Extent:
    """The size along a direction, (3,)."""
    d = direction / np.linalg.norm(direction)
    low, high = contact(surface, planes, noise, -d), contact(surface, planes, noise, d)
    return Extent(
        name=name,
        direction=d,
        length_mm=high.height_mm + low.height_mm,
        u_length_mm=float(np.hypot(low.u_mm, high.u_mm)),
        ends_mm=np.stack([low.point_mm, high.point_mm]),
    )


def contact(surface: Surface, planes: Sequence[Plane], noise: Noise, direction: Array) -> Contact:
    """Where a flat foot coming from outside along the direction comes to rest.

    On a flat that lies square: the flat. On a round end: the crest of its cylinder. Elsewhere: the crest of the
    curved cap (second order) that faces the foot. On an edge: the topmost averaged points.
    """
    sigma = float(np.hypot(noise.white_mm, noise.correlated_mm))
    facing = np.flatnonzero(surface.normals @ direction.astype(np.float32) > np.cos(np.radians(FACING_DEG)))
    height = surface.points_mm[facing] @ direction
    if len(facing) < LEAST_POINTS:
        return _on_edge(surface, direction, sigma)
    top = _top_mm(height, surface.areas_mm2[facing])
    seated = [p for p in planes if _seats(p, direction) and _height(p, direction) > top - 0.1 - 4.0 * sigma]
    if seated:
        return _on_plane(max(seated, key=lambda p: p.area_mm2), direction)
    cap = _cap(surface, facing[height > top - CAP_DEPTH_MM - 4.0 * sigma], direction)
    if len(cap) < LEAST_POINTS or _whole_top(surface, direction) > top + 0.2 + 4.0 * sigma:
        return _on_edge(surface, direction, sigma)
    return _on_cap(surface, cap, noise, direction)


def _seats(plane: Plane, direction: Array) -> bool:
    return float(plane.normal @ direction) > np.cos(np.radians(SEATED_DEG))


def _height(plane: Plane, direction: Array) -> float:
    return float(plane.centre_mm @ direction)


def _on_plane(plane: Plane, direction: Array) -> Contact:
    return Contact(_height(plane, direction), plane.u_offset_mm, plane.centre_mm)


def _top_mm(height: Array, area_mm2: Array) -> float:
    """Height above which TOP_AREA_MM2 of the surface lies."""
    order = np.argsort(-height)
    reached = int(np.searchsorted(np.cumsum(area_mm2[order]), TOP_AREA_MM2))
    return float(height[order[min(reached, len(order) - 1)]])


def _whole_top(surface: Surface, direction: Array) -> float:
    seen = surface.seen
    return _top_mm(surface.points_mm[seen] @ direction, surface.areas_mm2[seen])


def _cap(surface: Surface, chosen: IntArray, direction: Array) -> IntArray:
    """The connected patch of the cap that reaches highest."""
    count, patch = surface.patches(chosen)
    height = surface.points_mm[chosen] @ direction
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    tops = [
        _top_mm(height[patch == k], surface.areas_mm2[chosen[patch == k]]) if area[k] > TOP_AREA_MM2 else -np.inf
        for k in range(count)
    ]
    return chosen[patch == int(np.argmax(tops))] if count else chosen


def _on_cap(surface: Surface, cap: IntArray, noise: Noise, direction: Array) -> Contact:
    """Crest of the second-order surface through the cap, or of the cylinder it belongs to."""
    u, v, _ = frame_along(direction)
    at = surface.points_mm[cap]
    middle = at.mean(axis=0)
    rel = at - middle
    x, y, h = rel @ u, rel @ v, rel @ direction
    slope = np.column_stack([np.ones_like(x), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    weights = np.ones_like(h)
    for _ in range(10):
        root = np.sqrt(weights)
        found = np.linalg.lstsq(slope * root[:, None], h * root, rcond=None)[0]
        weights = tukey_weights(h - slope @ found, max(noise.white_mm, 1e-4))
    crest, bends, turn = _crest(found, x, y)
    row = np.array([1.0, *crest, 0.5 * crest[0] ** 2, crest[0] * crest[1], 0.5 * crest[1] ** 2])
    u_mm = float(np.sqrt(row @ fit_covariance(slope, at, noise) @ row))
    rise = float(row @ found)
    place = middle + crest[0] * u + crest[1] * v + rise * direction
    quadric = Contact(float(place @ direction), u_mm, place)
    axis = turn[1, 0] * u + turn[1, 1] * v
    round_end = _on_cylinder(surface, quadric, axis, float(-1.0 / bends[0]), noise, direction) if bends[0] < 0 else None
    return quadric if round_end is None else round_end


def _crest(found: Array, x: Array, y: Array) -> tuple[Array, Array, Array]:
    """Highest place of the second-order surface within the patch; its bends and their directions, sharpest first.

    Where a bend is too slight to place the crest within the patch, the foot rests on the patch's middle in that
    direction.
    """
    hessian = np.array([[found[3], found[4]], [found[4], found[5]]])
    bends, turn = np.linalg.eigh(hessian)
    turn = turn.T
    slope = turn @ found[1:3]
    reach = np.abs(turn @ np.stack([x, y])).max(axis=1)
    at = np.divide(-slope, bends, out=np.full(2, np.inf), where=bends < 0)
    at = np.where(np.abs(at) < reach, at, 0.0)
    return at @ turn, bends, turn


def _on_cylinder(
    surface: Surface, start: Contact, axis: Array, radius_mm: float, noise: Noise, direction: Array
) -> Contact | None:
    """Crest of the round end, from all of its arc; None where the end is not a cylinder square to the direction."""
    if not LEAST_RADIUS_MM < radius_mm < MOST_RADIUS_MM:
        return None
    sigma = float(np.hypot(noise.white_mm, noise.correlated_mm))
    arc = _arc(surface, start.point_mm, start.point_mm - radius_mm * direction, axis, radius_mm, 0.05 + 4.0 * sigma)
    for _ in range(3):
        if len(arc) < LEAST_POINTS:
            return None
        at = surface.points_mm[arc]
        begin = (start.point_mm - radius_mm * direction, axis, radius_mm)
        fit = fit_cylinder(at, start=begin, robust=True, least_spread_mm=max(noise.white_mm, 1e-4))
        if not LEAST_RADIUS_MM < fit.radius_mm < MOST_RADIUS_MM or abs(float(fit.axis @ direction)) > 0.05:
            return None
        axis, radius_mm = fit.axis, fit.radius_mm
        arc = _arc(surface, start.point_mm, fit.axis_point_mm, axis, radius_mm, 0.03 + 4.0 * sigma)
    crest = fit.axis_point_mm + fit.radius_mm * direction
    if abs(float((crest - start.point_mm) @ direction)) > 0.05 + 4.0 * np.hypot(start.u_mm, sigma):
        return None
    frame = frame_along(fit.axis)
    rel = at - fit.axis_point_mm
    across = np.column_stack([rel @ frame[0], rel @ frame[1]])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    z = (rel @ fit.axis)[:, None]
    slope = np.hstack([across, z * across, np.ones_like(z)])
    row = np.array([frame[0] @ direction, frame[1] @ direction, 0.0, 0.0, 1.0])
    u_mm = float(np.sqrt(row @ fit_covariance(slope, at, noise) @ row))
    if u_mm > start.u_mm:
        return None
    return Contact(float(crest @ direction), u_mm, crest)


def _arc(
    surface: Surface, seed_mm: Array, axis_point_mm: Array, axis: Array, radius_mm: float, band_mm: float
) -> IntArray:
    """Measured points of the outward round wall that hangs together with the seed."""
    rel = surface.points_mm - axis_point_mm
    rel = rel - (rel @ axis)[:, None] * axis
    distance = np.linalg.norm(rel, axis=1)
    near = np.flatnonzero(surface.seen & (np.abs(distance - radius_mm) < band_mm))
    normals = surface.normals[near].astype(np.float64)
    outwards = np.einsum("ij,ij->i", normals, rel[near]) / distance[near]
    chosen = near[(outwards > 0.95) & (np.abs(normals @ axis) < 0.2)]
    if len(chosen) == 0:
        return chosen
    _, patch = surface.patches(chosen)
    nearest = int(np.argmin(np.linalg.norm(surface.points_mm[chosen] - seed_mm, axis=1)))
    return chosen[patch == patch[nearest]]


def _on_edge(surface: Surface, direction: Array, sigma_mm: float) -> Contact:
    """Topmost of the points averaged with their neighbours; known to half a spacing, since edges are rounded."""
    seen = np.flatnonzero(surface.seen) if surface.seen.any() else np.arange(len(surface.points_mm))
    height = surface.points_mm @ direction
    high = seen[height[seen] > height[seen].max() - 2.0 - 4.0 * sigma_mm]
    count = np.maximum(np.diff(surface.neighbours.indptr)[high], 1)
    mean = (surface.neighbours[high] @ height + height[high]) / (count + 1.0)
    best = int(np.argmax(mean))
    u_mm = float(np.hypot(0.5 * surface.spacing_mm, sigma_mm))
    return Contact(float(mean[best]), u_mm, surface.points_mm[high[best]])
