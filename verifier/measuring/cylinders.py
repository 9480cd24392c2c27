"""Sizes of and between bores and bosses: diameters and centre distances."""

import math
from collections.abc import Iterable, Sequence

import numpy as np

from verifier.finding.feature import Cylinder, Features, Plane
from verifier.measuring.candidate import Candidate, root_sum_square, unit
from verifier.measuring.shared_way import shared_way
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow


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


def centre_distance(one: Cylinder, other: Cylinder, faces: Sequence[Plane] = ()) -> Candidate | None:
    """Distance of two axes, each at its own middle, seen along the way both run; None when they are not parallel.

    faces : flat faces of the part; what both bores stand square to says which way they run better than they do
    Where one middle lies higher than the other, what turns the way they run moves the distance by that height.
    """
    shared = shared_way(one, other, faces)
    if shared is None:
        return None
    apart = other.axis_point_mm - one.axis_point_mm
    height = float(apart @ shared.direction)
    sideways = apart - height * shared.direction
    value = float(np.linalg.norm(sideways))
    turn = shared.u_along(sideways / value) if value > 0.0 else 0.0
    u = root_sum_square(one.u_position_mm, other.u_position_mm, height * turn)
    middle = 0.5 * (one.axis_point_mm + other.axis_point_mm)
    ends = np.stack([middle - 0.5 * sideways, middle + 0.5 * sideways])
    seen = min(1.0, one.arc_deg / 360.0, other.arc_deg / 360.0)
    return Candidate(value, u, 0, tuple(sorted((one.name, other.name))), ends, seen)


def parallel_partners(cylinders: tuple[Cylinder, ...], faces: Sequence[Plane] = ()) -> dict[tuple[int, int], Candidate]:
    """Centre distances of all pairs with parallel axes, by their places (i, j), i < j, in the tuple."""
    pairs = ((i, j) for i in range(len(cylinders)) for j in range(i + 1, len(cylinders)))
    found = {(i, j): centre_distance(cylinders[i], cylinders[j], faces) for i, j in pairs}
    return {pair: candidate for pair, candidate in found.items() if candidate is not None}
