"""Slots: hollow walls that run once round, two flats and two half rounds, fitted as one."""

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.optimize import least_squares

from verifier.finding.doubt import evenly, fit_covariance
from verifier.finding.feature import Noise, Slot
from verifier.finding.fits import frame_along
from verifier.finding.rings import MOST_LEAN, arc_deg
from verifier.finding.robust import spread_mm, tukey_weights
from verifier.finding.surface import Surface
from verifier.finding.walls import END_TRIM_MM, SHALLOW_TRIM, Wall
from verifier.mesh import Array, BoolArray, IntArray

# Less wall than this is no slot that a calliper's jaws go into: 1 mm deep, 1 mm wide, 3 mm long.
LEAST_AREA_MM2 = 4.0
# A wall that is longer than wide by less than this is an oval bore.
LEAST_STRAIGHT_MM = 0.5
# Of the wall's run so much has to be seen, and no more than so much of it may lie off the fitted slot.
LEAST_SEEN_DEG, MOST_OFF = 300.0, 0.1
FITTED_POINTS = 4000
ROUNDS = 6
SECTORS = 36
SLOT_AXES = 3


def find_slots(surface: Surface, axes: Sequence[Array], walls: Sequence[Wall], noise: Noise) -> tuple[Slot, ...]:
    """Slots along the given axes, widest first.

    walls : bores and bosses, whose points are none of a slot's
    """
    free = surface.seen.copy()
    for wall in walls:
        free[wall.points] = False
    found: list[Slot] = []
    for axis in axes[:SLOT_AXES]:
        for patch in _hollow_patches(surface, free, axis):
            slot = _slot_in(surface, patch, axis, noise)
            if slot is not None:
                found.append(slot)
                free[patch] = False
    found.sort(key=lambda slot: -slot.width_mm)
    return tuple(slot.named(f"slot {i + 1}") for i, slot in enumerate(found))


def in_a_slot(point_mm: Array, slots: Sequence[Slot]) -> bool:
    """Whether a point lies within the walls of one of the slots, however deep."""
    return any(_within(point_mm - slot.centre_mm, slot) for slot in slots)


def _within(rel_mm: Array, slot: Slot) -> bool:
    along, across = float(rel_mm @ slot.along), float(rel_mm @ np.cross(slot.axis, slot.along))
    return abs(along) < 0.5 * slot.length_mm and abs(across) < 0.5 * slot.width_mm


def _hollow_patches(surface: Surface, free: BoolArray, axis: Array) -> Iterator[IntArray]:
    """Connected walls along an axis that face inwards all round."""
    lean = np.abs(surface.normals @ axis.astype(np.float32))
    chosen = np.flatnonzero(free & (lean < MOST_LEAN))
    if len(chosen) == 0:
        return
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    order = np.argsort(patch, kind="stable")
    edges = np.searchsorted(patch[order], np.arange(count + 1))
    u, v, _ = frame_along(axis)
    for label in np.flatnonzero(area >= LEAST_AREA_MM2):
        points = chosen[order[edges[label] : edges[label + 1]]]
        few = points[evenly(len(points), FITTED_POINTS)]
        at, facing = surface.points_mm[few], surface.normals[few].astype(np.float64)
        rel = at - at.mean(axis=0)
        outwards = (rel @ u) * (facing @ u) + (rel @ v) * (facing @ v)
        turn = arc_deg(np.arctan2(facing @ v, facing @ u), 0.1)
        # Of a slot nearly every place faces its middle; of an outline with a dent in it, some.
        if turn > LEAST_SEEN_DEG and np.mean(outwards < 0.0) > 0.95:
            yield points


def _slot_in(surface: Surface, patch: IntArray, axis: Array, noise: Noise) -> Slot | None:
    start = _start(surface.points_mm[patch], axis)
    if start[5] < 0.5 * LEAST_STRAIGHT_MM:
        return None
    points = _trimmed(surface, patch, start, axis)
    if len(points) < 40:
        return None
    few = points[evenly(len(points), FITTED_POINTS)]
    at = surface.points_mm[few]
    middle = at.mean(axis=0)
    fitted, weights = _fitted(at - middle, start, axis, max(noise.white_mm, 1e-4))
    away = _away(fitted, at - middle, axis)
    band = max(5.0 * float(np.hypot(noise.white_mm, noise.correlated_mm)), 0.08)
    if np.mean(np.abs(away) > band) > MOST_OFF or 2.0 * fitted[5] < LEAST_STRAIGHT_MM or fitted[6] < 0.5:
        return None
    return _as_slot(surface, points, at, middle, fitted, weights, away, axis, noise)


def _start(points_mm: Array, axis: Array) -> Array:
    """Slot about the points' middle: shift u and v, tilt u and v, angle, half of the straight, half of the width."""
    u, v, _ = frame_along(axis)
    rel = points_mm - points_mm.mean(axis=0)
    flat = np.column_stack([rel @ u, rel @ v])
    along = np.linalg.svd(flat[evenly(len(flat), FITTED_POINTS)], full_matrices=False)[2][0]
    x, y = flat @ along, flat @ np.array([-along[1], along[0]])
    (low_x, high_x), (low_y, high_y) = (np.percentile(c, [0.5, 99.5]) for c in (x, y))
    centre = along * 0.5 * (low_x + high_x) + np.array([-along[1], along[0]]) * 0.5 * (low_y + high_y)
    radius = 0.5 * (high_y - low_y)
    half = max(0.5 * (high_x - low_x) - radius, 0.0)
    return np.array([*centre, 0.0, 0.0, np.arctan2(along[1], along[0]), half, radius])


def _placed(at: Array, rel_mm: Array, axis: Array) -> tuple[Array, Array, Array]:
    """Points along the slot, across it, and along its axis, each (n,); rel_mm from the points' middle."""
    u, v, w = frame_along(axis)
    z = rel_mm @ w
    x, y = rel_mm @ u - at[0] - at[2] * z, rel_mm @ v - at[1] - at[3] * z
    c, s = np.cos(at[4]), np.sin(at[4])
    return c * x + s * y, c * y - s * x, z


def _away(at: Array, rel_mm: Array, axis: Array) -> Array:
    """Distance of points outward of the slot's wall, (n,): off a stretch of line, less half the width."""
    x, y, _ = _placed(at, rel_mm, axis)
    beyond = x - np.clip(x, -at[5], at[5])
    return np.asarray(np.hypot(beyond, y) - at[6])


def _fitted(rel_mm: Array, start: Array, axis: Array, least_mm: float) -> tuple[Array, Array]:
    """Least orthogonal distance with Tukey weights, taken anew a few times (Levenberg-Marquardt between)."""
    # The start was placed about the middle of all points, and these may be fewer: the first fit takes that up.
    weights, found = np.ones(len(rel_mm)), start
    for _ in range(ROUNDS):
        root = np.sqrt(weights)
        found = least_squares(lambda at, root=root: root * _away(at, rel_mm, axis), found, method="lm").x
        weights = tukey_weights(_away(found, rel_mm, axis), least_mm)
    return np.asarray(found), weights


def _slope(at: Array, rel_mm: Array, axis: Array) -> Array:
    """Change of each distance with each of the seven numbers, (n, 7), by central differences."""
    steps = np.eye(7) * 1e-5
    return np.column_stack([(_away(at + s, rel_mm, axis) - _away(at - s, rel_mm, axis)) / 2e-5 for s in steps])


def _as_slot(
    surface: Surface,
    points: IntArray,
    at_mm: Array,
    middle: Array,
    fitted: Array,
    weights: Array,
    away: Array,
    axis: Array,
    noise: Noise,
) -> Slot:
    u, v, w = frame_along(axis)
    kept = weights > 0.2
    covariance = fit_covariance(_slope(fitted, (at_mm - middle)[kept], axis), at_mm[kept], noise)
    x, y, z = _placed(fitted, surface.points_mm[points] - middle, axis)
    tilted = w + fitted[2] * u + fitted[3] * v
    half_z = 0.5 * (float(z.min()) + float(z.max()))
    # Length end to end is twice the half straight and twice the half width together.
    u_length = 2.0 * float(np.sqrt(covariance[5, 5] + covariance[6, 6] + 2.0 * covariance[5, 6]))
    return Slot(
        name="slot",
        centre_mm=middle + fitted[0] * u + fitted[1] * v + half_z * tilted,
        axis=tilted / np.linalg.norm(tilted),
        along=np.cos(fitted[4]) * u + np.sin(fitted[4]) * v,
        width_mm=2.0 * float(fitted[6]),
        length_mm=2.0 * float(fitted[5] + fitted[6]),
        u_width_mm=2.0 * float(np.sqrt(covariance[6, 6])),
        u_length_mm=u_length,
        u_position_mm=float(np.sqrt(max(covariance[0, 0], covariance[1, 1]))),
        form_error_mm=2.0 * spread_mm(away[kept]),
        seen_share=min(1.0, arc_deg(np.arctan2(y, x), surface.spacing_mm / fitted[6]) / 360.0),
        depth_mm=float(np.ptp(z)),
        rms_mm=float(np.sqrt(np.average(away**2, weights=weights))),
        faces=surface.faces_of(points),
    )


def _trimmed(surface: Surface, patch: IntArray, start: Array, axis: Array) -> IntArray:
    """Points of the wall clear of its ends, judged sector by sector (ends may be slanted)."""
    rel = surface.points_mm[patch] - surface.points_mm[patch].mean(axis=0)
    x, y, z = _placed(start, rel, axis)
    # Along a long slot, sectors seen from its middle would be wide at the ends: drawn in to the width, they are even.
    sector = ((np.arctan2(y, x * start[6] / (start[5] + start[6])) / (2.0 * np.pi) + 0.5) * SECTORS).astype(int)
    sector %= SECTORS
    low, high = np.full(SECTORS, np.inf), np.full(SECTORS, -np.inf)
    np.minimum.at(low, sector, z)
    np.maximum.at(high, sector, z)
    deep = np.where(np.isfinite(low), high - low, 0.0)
    trim = np.minimum(END_TRIM_MM, SHALLOW_TRIM * deep)
    return np.asarray(patch[(z >= (low + trim)[sector]) & (z <= (high - trim)[sector])])
