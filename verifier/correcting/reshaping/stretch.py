"""Where a part has one section over some length, so that it can be made longer or shorter there."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.outline import laid_along
from verifier.correcting.reshaping.section import SHIFTED_MOST_MM, clear_of_corners_mm, crossing_at
from verifier.correcting.reshaping.work import CannotReshape, Work
from verifier.finding.feature import Noise
from verifier.finding.fits import frame_along
from verifier.mesh import Array, Mesh, own_corners
from verifier.rulebook.reshape_row import Reshape

# Sections are compared at so many places over the length looked at.
STATIONS = 49
# Two sections are one where their outlines leave each other nowhere by more than this and six of the scan's scatter:
# they scatter by 1.4 of it, and the worst of some thousand points lies four deviations out. At rims a scan's facets cut
# the corner anew at every place, by (sqrt 2 - 1) of half its point spacing: 0.12 mm at 0.6 mm.
SAME_WITHIN_MM = 0.2
SCATTERS = 6.0
# A shorter stretch is none: over so little, sides that taper by two degrees look parallel as well.
LEAST_STRETCH_MM = 5.0
# Sides may lean towards each other by this much on average: over a stretch of 10 mm that is 0.1 mm, the scan's scatter.
MOST_TAPER_DEG = 0.5
AT_EACH_END_MM = 0.25
# Two axes nearer than this are one.
ONE_AXIS_MM = 1.0


@dataclass(frozen=True, slots=True)
class Line:
    """Heights along a direction, counted from a point; low and high bound where is looked.

    ordered : it is certain which end they are counted from
    """

    from_mm: Array
    direction: Array
    low_mm: float
    high_mm: float
    ordered: bool = True


def line_of(work: Work, wanted: Reshape, names: Names) -> Line:
    """The line a reshaping is counted along.

    Raises CannotReshape where a bore was not found, or places are counted from one that has an equal.
    """
    if wanted.between is None:
        extent = work.extent(wanted.along or "length")
        heights = (work.mesh.vertices_mm - extent.ends_mm[0]) @ extent.direction
        return Line(extent.ends_mm[0], extent.direction, float(heights.min()), float(heights.max()))
    first, second, ordered = names.pair(work, wanted.between)
    if not ordered and (wanted.planes or wanted.at):
        raise CannotReshape(
            f"'{wanted.between[0]}' and '{wanted.between[1]}' are equal, and which to count from cannot be told",
            f"Leave {'planes' if wanted.planes else 'at'} out, or give the sheet a distance that only one of them has",
        )
    span = second.axis_point_mm - first.axis_point_mm
    # Square to the first axis, as a centre distance is.
    span = span - (span @ first.axis) * first.axis
    length_mm = float(np.linalg.norm(span))
    if length_mm < ONE_AXIS_MM:
        raise CannotReshape(
            f"'{wanted.between[0]}' and '{wanted.between[1]}' lie on one axis",
            "Name two bores or bosses that lie apart",
        )
    return Line(first.axis_point_mm, span / length_mm, 0.0, length_mm, ordered)


@dataclass(frozen=True, slots=True)
class _Section:
    """One section: points close along its outline, seen along the direction, its area and the length of its rim."""

    at_mm: float
    rim: Array
    area_mm2: float
    rim_mm: float


def longest_stretch(mesh: Mesh, heights: Array, line: Line, noise: Noise) -> tuple[float, float] | None:
    """The longest stretch over which all sections are one, from and to; None where there is none to speak of."""
    sections = _sections(mesh, heights, np.linspace(line.low_mm, line.high_mm, STATIONS + 2)[1:-1], line)
    runs, first = [], 0
    while first < len(sections):
        last = first
        while last + 1 < len(sections) and _apart_mm(sections[first], sections[last + 1]) <= _limit_mm(noise):
            last += 1
        runs.append(sections[first : last + 1])
        first = last + 1 if last > first else first + 1
    run = max(runs, key=lambda each: each[-1].at_mm - each[0].at_mm)
    low, high = run[0].at_mm + AT_EACH_END_MM, run[-1].at_mm - AT_EACH_END_MM
    return (low, high) if high - low >= LEAST_STRETCH_MM and _taper_deg(run) <= MOST_TAPER_DEG else None


def check_stretch(mesh: Mesh, heights: Array, line: Line, planes: tuple[float, float], noise: Noise) -> None:
    """See that the part has one section from plane to plane. Raises CannotReshape."""
    low, high = planes
    if low <= float(heights.min()) or high >= float(heights.max()):
        raise CannotReshape(
            f"the planes at {low:.1f} and {high:.1f} mm do not both cross the part",
            f"It reaches from {heights.min():.1f} to {heights.max():.1f} mm: give planes between",
        )
    sections = _sections(mesh, heights, np.linspace(low, high, 9), line)
    change_mm = max(_apart_mm(sections[0], other) for other in sections[1:])
    between = f"between {low:.1f} and {high:.1f} mm"
    if change_mm > _limit_mm(noise):
        raise CannotReshape(f"its section changes by {change_mm:.2f} mm {between}", _advice(mesh, heights, line, noise))
    if _taper_deg(sections) > MOST_TAPER_DEG:
        why = f"its sides taper by {_taper_deg(sections):.1f} degrees on average {between}"
        raise CannotReshape(why, _advice(mesh, heights, line, noise))


def _advice(mesh: Mesh, heights: Array, line: Line, noise: Noise) -> str:
    found = longest_stretch(mesh, heights, line, noise)
    if found is None:
        return "It has no stretch of one section there, so it cannot be made longer or shorter in its own form"
    return f"It has one section from {found[0]:.1f} to {found[1]:.1f} mm: put the planes there"


def no_stretch(mesh: Mesh, heights: Array, line: Line) -> CannotReshape:
    """The reason for a part without a stretch of one section."""
    sections = _sections(mesh, heights, np.linspace(line.low_mm, line.high_mm, 7)[2:5], line)
    change_mm = max(_apart_mm(sections[0], other) for other in sections[1:])
    told = f"by {change_mm:.2f} mm" if np.isfinite(change_mm) else "altogether"
    return CannotReshape(
        f"no stretch of it has one section: over its middle third the section changes {told}",
        "Take the line out, or name a pair of bores between which its sides run parallel",
    )


def _limit_mm(noise: Noise) -> float:
    return SAME_WITHIN_MM + SCATTERS * float(np.hypot(noise.white_mm, noise.correlated_mm))


def _sections(mesh: Mesh, heights: Array, places_mm: Array, line: Line) -> list[_Section]:
    """The part's sections at ascending places; faces that cross none of them, most of a million, are asked once."""
    a, b, c = (heights[mesh.faces[:, k]] for k in range(3))
    low = np.minimum(np.minimum(a, b), c) - 2.0 * SHIFTED_MOST_MM
    high = np.maximum(np.maximum(a, b), c) + 2.0 * SHIFTED_MOST_MM
    near = np.searchsorted(places_mm, low) < np.searchsorted(places_mm, high, side="right")
    corners, faces = own_corners(mesh.faces[near], len(heights))
    crossed = Mesh(mesh.vertices_mm[corners], faces)
    return [_section(crossed, heights[corners], float(at), line) for at in places_mm]


def _section(mesh: Mesh, heights: Array, at_mm: float, line: Line) -> _Section:
    at = clear_of_corners_mm(heights, at_mm)
    found = crossing_at(mesh, heights, at)
    across = np.stack(frame_along(line.direction)[:2])
    start, end = ((found.points_mm[found.steps[:, k]] - line.from_mm) @ across.T for k in (0, 1))
    area_mm2 = 0.5 * float((start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]).sum())
    return _Section(at_mm, laid_along(start, end), area_mm2, float(np.linalg.norm(end - start, axis=1).sum()))


def _taper_deg(run: Sequence[_Section]) -> float:
    """How far the sides lean towards each other, on average round the rim: by the trend of the area."""
    if len(run) < 2 or run[0].rim_mm == 0.0:
        return 0.0
    slope = np.polyfit([each.at_mm for each in run], [each.area_mm2 for each in run], 1)[0]
    return float(np.degrees(np.arctan(abs(slope) / run[0].rim_mm)))


def _apart_mm(one: _Section, other: _Section) -> float:
    """How far two outlines leave each other at most."""
    if len(one.rim) == 0 or len(other.rim) == 0:
        return float("inf")
    return max(float(cKDTree(a.rim).query(b.rim)[0].max()) for a, b in ((one, other), (other, one)))
