"""Where a foot rests on the edge or the corner in which flats meet, which every scan rounds."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import nnls

from verifier.finding.caps import Contact
from verifier.finding.feature import Plane
from verifier.mesh import Array

# Flats within this way of the place, over the spacing of the points kept of them, may meet there.
REACH_MM = 3.0
# A flat carries the foot when it holds this much of its push; a direction that flats leave over by more lies on none.
# The floor that a drafted wall stands on lies square to the foot's direction, and is known to be so by far less.
LEAST_PUSH, MOST_LEFT = 0.01, 0.05
# A scan rounds an edge over about its spacing, a mould by up to half a millimetre; what lies deeper was meant round.
MOULDED_MM = 0.3


def on_sharp_edge(found: Contact, planes: Sequence[Plane], direction: Array, spacing_mm: float) -> Contact:
    """The contact, moved half-way out to the sharp edge or corner of the flats that meet there; as found elsewhere.

    The true edge lies anywhere between what was seen of it and where the flats meet: half the way between, known to
    gap / sqrt(12) (JCGM 100:2008, 4.3.7); times sqrt(2), since a scan rounds the edges at both ends of a size alike and
    these errors add up. What was seen beyond that is scatter or a lip: no edge stands out farther than its flats meet.
    Pushed along d = sum a_i n_i by flats n_i . x = o_i, a foot rests at
    sum a_i o_i (duality of linear programmes).
    """
    most_mm = MOULDED_MM + spacing_mm
    near = [
        plane
        for plane in planes
        if plane.normal @ direction > -MOST_LEFT
        and abs(_above_mm(plane, found.point_mm)) < most_mm
        and _reaches(plane, found.point_mm)
    ]
    if len(near) < 2:
        return found
    push, left = nnls(np.array([plane.normal for plane in near]).T, direction)
    if left > MOST_LEFT or (push > LEAST_PUSH).sum() < 2:
        return found
    gap_mm = float(sum(a * _above_mm(plane, found.point_mm) for a, plane in zip(push, near, strict=True)))
    if not -found.u_mm < gap_mm < most_mm:
        return found
    u_flats = [a * plane.u_offset_mm for a, plane in zip(push, near, strict=True)]
    u_rises = [a * plane.u_rise(found.point_mm - plane.centre_mm) for a, plane in zip(push, near, strict=True)]
    u_mm = float(np.linalg.norm([*u_flats, *u_rises, max(gap_mm, 0.0) / np.sqrt(6.0)]))
    point = found.point_mm + (0.5 * gap_mm if gap_mm > 0.0 else gap_mm) * direction
    return Contact(float(point @ direction), u_mm, point)


def _above_mm(plane: Plane, point_mm: Array) -> float:
    return float(plane.normal @ (plane.centre_mm - point_mm))


def _reaches(plane: Plane, point_mm: Array) -> bool:
    kept_mm = 1.1 * float(np.sqrt(plane.area_mm2 / len(plane.points_mm)))
    return bool(np.linalg.norm(plane.points_mm - point_mm, axis=1).min() < REACH_MM + kept_mm)
