"""The mouths of one bore, seen from either side with the middle unseen, made one."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from verifier.finding.feature import Noise, Plane
from verifier.finding.surface import Surface
from verifier.finding.walls import Wall, fitted_wall
from verifier.mesh import Array

# Mouths whose axes meet within this many units of what scatter, half a degree and 0.15 mm of play explain are tried.
MOST_UNITS_OFF = 4.0
LEAST_RADIUS_PLAY_MM = 0.08
# A floor is judged over the middle of the bore, clear of the fillet at its wall, and within a radius of the wall's end.
FLOOR_SHARE, FLOOR_WITHIN, LEAST_FLOOR_POINTS = 0.6, 1.5, 6
# It counts as flat while its middle lies no deeper below its rim than this share of the radius: half of what a bowl of
# a quarter of the radius has there (judgement, no source).
FLOOR_FLAT, FLOOR_SQUARE_DEG = 0.075, 20.0


def joined_mouths(surface: Surface, walls: list[Wall], planes: Sequence[Plane], noise: Noise) -> list[Wall]:
    """Walls with the mouths of one bore made one; two blind bores on one axis stay two."""
    while True:
        for a, b in combinations(range(len(walls)), 2):
            both = _as_one(surface, walls[a], walls[b], planes, noise)
            if both is not None:
                walls = [wall for i, wall in enumerate(walls) if i not in (a, b)] + [both]
                break
        else:
            return walls


def _as_one(surface: Surface, a: Wall, b: Wall, planes: Sequence[Plane], noise: Noise) -> Wall | None:
    """Two walls as one bore, when they have one axis and one diameter and no measured floor between them."""
    if a.ring.kind != "bore" or b.ring.kind != "bore" or abs(float(a.fit.axis @ b.fit.axis)) < np.cos(np.radians(6.0)):
        return None
    apart = b.fit.axis_point_mm - a.fit.axis_point_mm
    along = float(np.linalg.norm(apart))
    axis = apart / max(along, 1e-9) if along > a.fit.radius_mm else a.fit.axis
    lean = max(_off_axis(axis, a, along), _off_axis(axis, b, along))
    u_radius = np.sqrt(a.covariance[4, 4] + b.covariance[4, 4])
    if lean > MOST_UNITS_OFF or abs(a.fit.radius_mm - b.fit.radius_mm) > max(LEAST_RADIUS_PLAY_MM, 4.0 * u_radius):
        return None
    if _floor_between(planes, a, b) or _flat_floor(surface, a, b):
        return None
    points = np.concatenate([a.points, b.points])
    radius = 0.5 * (a.fit.radius_mm + b.fit.radius_mm)
    middle = 0.5 * (a.fit.axis_point_mm + b.fit.axis_point_mm)
    ring = replace(a.ring, axis_point_mm=middle, axis=axis, radius_mm=radius, points=points)
    both = fitted_wall(surface, ring, planes, noise)
    rms = np.sqrt(0.5 * (a.rms_mm**2 + b.rms_mm**2))
    return both if both.rms_mm < 1.25 * rms + 0.01 else None


def _off_axis(axis: Array, wall: Wall, along_mm: float) -> float:
    """Angle between a wall's axis and the line of both middles, in units of what is allowed.

    Allowed are half a degree, what the scatter explains, and a sideways play of 0.15 mm.
    """
    sine = float(np.linalg.norm(np.cross(axis, wall.fit.axis)))
    return sine / float(np.hypot(np.hypot(np.radians(0.5), wall.u_axis_rad), 0.15 / max(along_mm, 1e-9)))


def _flat_floor(surface: Surface, a: Wall, b: Wall) -> bool:
    """Whether either wall ends, towards the other, on a floor that is flat and square, too small for a plane.

    Where a scanner loses a deep bore the surface closes in a bowl, deeper in the middle; the floor of a moulded blind
    bore is flat to its scatter.
    """
    apart = b.fit.axis_point_mm - a.fit.axis_point_mm
    return any(_ends_flat(surface, wall, way) for wall, way in ((a, apart), (b, -apart)))


def _ends_flat(surface: Surface, wall: Wall, way: Array) -> bool:
    axis = wall.fit.axis * np.sign(float(wall.fit.axis @ way))
    rel = surface.points_mm - wall.fit.axis_point_mm
    along = rel @ axis
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    radius = wall.fit.radius_mm
    near = surface.seen & (off < FLOOR_SHARE * radius) & (along > 0.0) & (along < wall.depth_mm + FLOOR_WITHIN * radius)
    facing = surface.normals[near].astype(np.float64) @ axis < -np.cos(np.radians(FLOOR_SQUARE_DEG))
    if near.sum() < LEAST_FLOOR_POINTS or facing.mean() < 0.8:
        return False
    rise = np.polynomial.Polynomial.fit(off[near] ** 2, along[near], 1).convert().coef[1] * (FLOOR_SHARE * radius) ** 2
    return bool(rise > -FLOOR_FLAT * radius)


def _floor_between(planes: Sequence[Plane], a: Wall, b: Wall) -> bool:
    """Whether a measured flat closes the bore between its two walls."""
    low, high = sorted((0.0, float((b.fit.axis_point_mm - a.fit.axis_point_mm) @ a.fit.axis)))
    for plane in planes:
        rel = plane.points_mm - a.fit.axis_point_mm
        along = rel @ a.fit.axis
        off = np.linalg.norm(rel - along[:, None] * a.fit.axis, axis=1)
        inside = (off < 0.8 * a.fit.radius_mm) & (along > low) & (along < high)
        if abs(float(plane.normal @ a.fit.axis)) > 0.9 and inside.any():
            return True
    return False
