"""Sizes of and between bores and bosses: diameters and centre distances."""

import math
from collections.abc import Iterable

import numpy as np

from verifier.finding.feature import Cylinder, Features
from verifier.measuring.candidate import Candidate, root_sum_square, unit
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow

# Two bores are taken as parallel up to this angle between their axes. The axis of a bore seen 2 mm deep is uncertain by
# 1 to 5 degrees; drawn angles between bores of moulded parts are hardly ever under 15.
PARALLEL_AXES_DEG = 10.0


def bore_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Every found bore, in the order found."""
    return _diameters(features.bores, row, walls=-2)


def boss_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Every found boss, in the order found."""
    return _diameters(features.bosses, row, walls=2)


def _diameters(cylinders: Iterable[Cylinder], row: SheetRow, *, walls: int) -> list[Candidate]:
    return [diameter_candidate(cylinder, row, walls=walls) for cylinder in cylinders]


def diameter_candidate(cylinder: Cylinder, row: SheetRow, *, walls: int) -> Candidate:
    """The diameter of one bore or boss, as the row says it is gauged."""
    return Candidate(
        # A pin is stopped by the narrowest place; jaws and rings are not.
        cylinder.pin_diameter_mm if row.gauged == "pin" and cylinder.kind == "bore" else cylinder.diameter_mm,
        root_sum_square(cylinder.u_diameter_mm, _u_out_of_round_mm(cylinder)),
        walls,
        (cylinder.name,),
        across(cylinder),
        min(1.0, cylinder.arc_deg / 360.0),
    )


def _u_out_of_round_mm(cylinder: Cylinder) -> float:
    """Standard uncertainty from a wall that is out of round beyond its scatter: whether part or scan is so, none knows.

    Its diameters then reach from the pin's to as far above the mean as that lies below: a rectangular distribution.
    """
    return abs(cylinder.diameter_mm - cylinder.pin_diameter_mm) / math.sqrt(3.0)


def across(cylinder: Cylinder) -> Array:
    """Two opposite points of the wall at half depth, (2, 3)."""
    sideways = unit(np.cross(cylinder.axis, np.eye(3)[np.argmin(np.abs(cylinder.axis))]))
    return cylinder.axis_point_mm + 0.5 * cylinder.diameter_mm * np.stack([-sideways, sideways])


def centre_distance(one: Cylinder, other: Cylinder) -> Candidate | None:
    """Distance between two axes at mid depth, square to their mean direction; None when they are not parallel.

    Each axis is carried from its own middle to the common depth, so its tilt counts with that lever arm.
    """
    cosine = float(one.axis @ other.axis)
    if abs(cosine) < np.cos(np.radians(PARALLEL_AXES_DEG)):
        return None
    mean_axis = unit(one.axis + np.sign(cosine) * other.axis)
    depth_mm = 0.5 * float((one.axis_point_mm + other.axis_point_mm) @ mean_axis)
    ends = np.stack([point_at_depth(c, mean_axis, depth_mm) for c in (one, other)])
    levers = [abs(depth_mm - float(c.axis_point_mm @ mean_axis)) for c in (one, other)]
    u = root_sum_square(
        one.u_position_mm, other.u_position_mm, one.u_axis_rad * levers[0], other.u_axis_rad * levers[1]
    )
    value = float(np.linalg.norm(ends[1] - ends[0]))
    seen = min(1.0, one.arc_deg / 360.0, other.arc_deg / 360.0)
    return Candidate(value, u, 0, tuple(sorted((one.name, other.name))), ends, seen)


def point_at_depth(cylinder: Cylinder, direction: Array, depth_mm: float) -> Array:
    """Where the axis crosses the plane direction . x = depth_mm, (3,)."""
    along = (depth_mm - cylinder.axis_point_mm @ direction) / (cylinder.axis @ direction)
    return np.asarray(cylinder.axis_point_mm + along * cylinder.axis, dtype=np.float64)


def parallel_partners(cylinders: tuple[Cylinder, ...]) -> dict[tuple[int, int], Candidate]:
    """Centre distances of all pairs with parallel axes, by their places (i, j), i < j, in the tuple."""
    pairs = ((i, j) for i in range(len(cylinders)) for j in range(i + 1, len(cylinders)))
    found = {(i, j): centre_distance(cylinders[i], cylinders[j]) for i, j in pairs}
    return {pair: candidate for pair, candidate in found.items() if candidate is not None}
