"""Signed distances: negative inside, millimetres. A part of exact size is put together from these."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Faces = NDArray[np.int64]
Distance = Callable[[Array], Array]

EDGE_RADIUS_MM = 0.25  # a scanner rounds every edge by about its point spacing


def intersect(*parts: Array, radius_mm: float = EDGE_RADIUS_MM) -> Array:
    """Common solid of several, its edges rounded; exact wherever two of them differ by more than the radius."""
    out = parts[0]
    for other in parts[1:]:
        overlap = np.maximum(radius_mm - np.abs(out - other), 0.0)
        out = np.maximum(out, other) + overlap**2 / (4.0 * radius_mm)
    return out


def unite(*parts: Array) -> Array:
    """Solid of several; inner corners stay sharp, so that faces the parts share are exact."""
    return np.asarray(np.minimum.reduce(parts))


def cut(solid: Array, tool: Array, radius_mm: float = EDGE_RADIUS_MM) -> Array:
    """The solid without the tool."""
    return intersect(solid, -tool, radius_mm=radius_mm)


def slab(height: Array, low_mm: float, high_mm: float) -> Array:
    """Between two parallel planes."""
    return np.maximum(low_mm - height, height - high_mm)


def disc(points: Array, centre_mm: tuple[float, float], radius_mm: float) -> Array:
    """A circle in the plane, or an endless cylinder along z."""
    return np.asarray(np.hypot(points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1]) - radius_mm)


def box2(points: Array, centre_mm: tuple[float, float], size_mm: tuple[float, float]) -> Array:
    """A rectangle in the plane, or an endless bar along z."""
    beyond = np.abs(points[:, :2] - np.asarray(centre_mm)) - np.asarray(size_mm) / 2.0
    outside = np.linalg.norm(np.maximum(beyond, 0.0), axis=1)
    return np.asarray(outside + np.minimum(beyond.max(axis=1), 0.0))


def tapered_bar(points: Array, a: tuple[float, float], b: tuple[float, float], ra_mm: float, rb_mm: float) -> Array:
    """Two circles and the straight flanks that touch both: the outline of a lever."""
    start, end = np.asarray(a, float), np.asarray(b, float)
    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    across = np.array([-along[1], along[0]])
    rel = points[:, :2] - start
    u, v = rel @ along, np.abs(rel @ across)
    slope = (ra_mm - rb_mm) / length  # sine of the flank's angle
    rise = np.sqrt(1.0 - slope**2)
    on_flank = v * rise + u * slope - ra_mm
    position = u * rise - v * slope  # along the flank, from the foot of circle a
    near_a = np.hypot(u, v) - ra_mm
    near_b = np.hypot(u - length, v) - rb_mm
    return np.where(position < 0.0, near_a, np.where(position > length * rise, near_b, on_flank))


def bore(points: Array, centre_mm: tuple[float, float], diameter_mm: float, oval_mm: float = 0.0) -> Array:
    """An endless bore along z; oval by so much between its widest and its narrowest diameter."""
    x, y = points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1]
    radius = np.hypot(x, y)
    if oval_mm == 0.0:
        return radius - diameter_mm / 2.0
    twice_angle = 2.0 * np.arctan2(y, x)
    return np.asarray(radius - diameter_mm / 2.0 - oval_mm / 4.0 * np.cos(twice_angle))


def crater(
    points: Array,
    centre_mm: tuple[float, float],
    diameter_mm: float,
    mouths_mm: tuple[float, float],
    depth_mm: float,
    oval_mm: float = 0.0,
) -> Array:
    """A bore as a scanner sees a deep one: two mouths that close in a bowl some way down.

    mouths_mm : heights of the lower and the upper mouth
    """
    wall = bore(points, centre_mm, diameter_mm, oval_mm)
    z = points[:, 2]
    radius = np.hypot(points[:, 0] - centre_mm[0], points[:, 1] - centre_mm[1])
    bowl = 0.25 * (diameter_mm / 2.0 - radius)  # deeper in the middle
    upper = np.maximum(wall, (mouths_mm[1] - depth_mm - bowl) - z)
    lower = np.maximum(wall, z - (mouths_mm[0] + depth_mm + bowl))
    return np.minimum(upper, lower)
