"""Bolt patterns: four equal bores at the corners of a rectangle."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from verifier.finding.feature import BoreRectangle, Cylinder
from verifier.finding.fits import frame_along
from verifier.mesh import Array

# Bores of one pattern are of one drill: they differ by less than this, and stand parallel to so much.
SAME_MM, PARALLEL_DEG = 0.2, 5.0
# Corners of a moulded or drilled rectangle lie this near their places, besides what the scan leaves unsure
# (common practice, no source): a plate of 30 by 31 mm is no square.
OFF_MM, KNOWN_WITHIN_U = 0.15, 3.0
# More equal bores than this are a grid, whose rectangles are not gone through one by one.
MOST_EQUAL = 12


def find_rectangles(cylinders: Sequence[Cylinder]) -> tuple[BoreRectangle, ...]:
    """Rectangles of four equal parallel bores, each bore in one of them, the largest first."""
    found: list[BoreRectangle] = []
    for group in _equal(cylinders):
        fours = (_rectangle(four) for four in combinations(group[:MOST_EQUAL], 4))
        taken: set[str] = set()
        for each in sorted((four for four in fours if four is not None), key=lambda r: -r.long_mm * r.short_mm):
            if not taken & set(each.bores):
                taken |= set(each.bores)
                found.append(each)
    found.sort(key=lambda each: -each.long_mm)
    return tuple(replace(each, name=f"rectangle {i + 1}") for i, each in enumerate(found))


def _equal(cylinders: Sequence[Cylinder]) -> Iterator[list[Cylinder]]:
    """Parallel bores in groups of equal diameter."""
    left = [cylinder for cylinder in cylinders if cylinder.kind == "bore"]
    while left:
        first = left[0]
        alike = [bore for bore in left if _alike(first, bore)]
        left = [bore for bore in left if bore not in alike]
        yield alike


def _alike(one: Cylinder, other: Cylinder) -> bool:
    same = abs(one.diameter_mm - other.diameter_mm) < SAME_MM
    return same and abs(float(one.axis @ other.axis)) > np.cos(np.radians(PARALLEL_DEG))


def _rectangle(four: Sequence[Cylinder]) -> BoreRectangle | None:
    """The rectangle whose corners four axes go through at a common depth; None where they lie on none."""
    axes = np.array([bore.axis * np.sign(float(bore.axis @ four[0].axis)) for bore in four])
    axis = axes.mean(axis=0) / np.linalg.norm(axes.mean(axis=0))
    depth = float(np.mean([bore.axis_point_mm @ axis for bore in four]))
    levers = np.array([depth - float(bore.axis_point_mm @ axis) for bore in four])
    spots = np.array([b.axis_point_mm + a * lever for b, a, lever in zip(four, axes, levers, strict=True)])
    u_mm = np.hypot([b.u_position_mm for b in four], np.array([b.u_axis_rad for b in four]) * levers)
    u, v, _ = frame_along(axis)
    middle = spots.mean(axis=0)
    turn = np.argsort(np.arctan2((spots - middle) @ v, (spots - middle) @ u))
    corners = spots[turn]
    # Going round, opposite sides are equal and neighbours square: each corner has its place from two mean sides.
    first = 0.5 * (corners[1] - corners[0] + corners[2] - corners[3])
    second = 0.5 * (corners[3] - corners[0] + corners[2] - corners[1])
    off = _off_mm(corners, middle, first, second)
    if off > OFF_MM + KNOWN_WITHIN_U * float(u_mm.max()):
        return None
    sides = [(float(np.linalg.norm(side)), side) for side in (first, second)]
    (short, _), (long, along) = sorted(sides, key=lambda side: side[0])
    # A mean of two sides moves with each of four places by half.
    u_side = float(np.linalg.norm(u_mm)) / 2.0
    start = 0 if long == sides[0][0] else 1
    names = [four[int(i)].name for i in np.roll(turn, -start)]
    return BoreRectangle(
        "", (names[0], names[1], names[2], names[3]), middle, axis, along / long, long, short, u_side, u_side, off
    )


def _off_mm(corners: Array, middle: Array, first: Array, second: Array) -> float:
    """How far the worst corner lies from its place on the rectangle of the mean sides, made square."""
    lengths = np.linalg.norm([first, second], axis=1)
    if lengths.min() < 1e-6:
        return np.inf
    a = first / lengths[0]
    b = second - a * float(second @ a)
    if np.linalg.norm(b) < 0.5 * lengths[1]:
        return np.inf
    b *= lengths[1] / np.linalg.norm(b)
    signs = np.array([[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]])
    places = middle + signs @ np.stack([a * lengths[0], b])
    return float(np.linalg.norm(corners - places, axis=1).max())
