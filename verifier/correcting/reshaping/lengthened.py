"""Longer or shorter between two planes: the ends as they were, the stretch between drawn out or pressed together."""

import numpy as np

from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.section import clear_of_corners_mm, divided_at, heights_mm
from verifier.correcting.reshaping.stretch import (
    Line,
    check_stretch,
    line_of,
    longest_stretch,
    no_stretch,
)
from verifier.correcting.reshaping.work import CannotReshape, Work
from verifier.mesh import Array
from verifier.rulebook.reshape_row import Reshape

LEAST_LEFT_MM = 1.0
# Of a stretch that is pressed together this share stays, or its faces would become slivers.
LEAST_LEFT_SHARE = 0.05


def lengthened(work: Work, wanted: Reshape, names: Names) -> tuple[Work, str]:
    """The part longer (shorter below nought) by `by`; and what was done, a sentence.

    The faces that cross the planes are divided along them, and heights between the planes are drawn out evenly: a map
    of space that is continuous and keeps its order, so the solid stays closed and meets itself nowhere. What lies below
    keeps every bit, what lies above is shifted. Over a stretch of one section that is the section, extruded.
    Raises CannotReshape.
    """
    by_mm = wanted.by or 0.0
    line = line_of(work, wanted, names)
    low, high = _planes(work, wanted, line)
    left_mm = high - low + by_mm
    if left_mm < max(LEAST_LEFT_MM, LEAST_LEFT_SHARE * (high - low)):
        raise CannotReshape(
            f"the stretch of one section is only {high - low:.1f} mm long",
            f"Make it shorter by {high - low - LEAST_LEFT_MM:.1f} mm at most",
        )

    def moves(points_mm: Array) -> Array:
        heights = (points_mm - line.from_mm) @ line.direction
        return points_mm + _rise(heights, low, high, by_mm)[:, None] * line.direction

    longer = _drawn_out(work, line, (low, high), by_mm).moved(moves)
    word = "longer" if by_mm > 0 else "shorter"
    place = (
        f" from '{wanted.between[0]}' towards '{wanted.between[1]}'" if wanted.between else f" along its {wanted.along}"
    )
    return (
        longer,
        f"Made {abs(by_mm):g} mm {word} between {low:.1f} and {high:.1f} mm{place}; its ends are as they were.",
    )


def _planes(work: Work, wanted: Reshape, line: Line) -> tuple[float, float]:
    heights = heights_mm(work.mesh, line.direction, line.from_mm)
    if wanted.planes is not None:
        planes = (clear_of_corners_mm(heights, wanted.planes[0]), clear_of_corners_mm(heights, wanted.planes[1]))
        check_stretch(work.mesh, heights, line, planes, work.found.noise)
        return planes
    found = longest_stretch(work.mesh, heights, line, work.found.noise)
    if found is None:
        raise no_stretch(work.mesh, heights, line)
    return clear_of_corners_mm(heights, found[0]), clear_of_corners_mm(heights, found[1])


def _drawn_out(work: Work, line: Line, planes: tuple[float, float], by_mm: float) -> Work:
    low, high = planes
    lower = divided_at(work.mesh, heights_mm(work.mesh, line.direction, line.from_mm), low)
    heights = heights_mm(lower.mesh, line.direction, line.from_mm)
    heights[lower.first :] = low
    both = divided_at(lower.mesh, heights, high)
    heights = np.concatenate([heights, np.full(len(both.crossing.points_mm), high)])
    between = ~both.above & lower.above[both.source]
    shifted = both.mesh.vertices_mm + _rise(heights, low, high, by_mm)[:, None] * line.direction
    source = lower.source[both.source]
    return work.with_faces(type(work.mesh)(shifted, both.mesh.faces), source, between)


def _rise(heights: Array, low: float, high: float, by_mm: float) -> Array:
    """How far a height is shifted: not at all below, by all above, evenly more between."""
    return np.asarray(by_mm * np.clip((heights - low) / (high - low), 0.0, 1.0))
