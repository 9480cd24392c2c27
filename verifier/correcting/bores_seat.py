"""Which mouth of a bore gets the seat of a head or the pocket of a nut, and its size on the copy."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from verifier.correcting.bores_found import FoundMouth
from verifier.correcting.bores_opening import Around, CannotRebuild, Mouth, Opening
from verifier.correcting.bores_polygon import corner_radius_mm, sides_for
from verifier.finding.feature import Plane
from verifier.mesh import Array
from verifier.rulebook import Seat

# A mouth lies this near the flat face it opens on: its rim is rounded by a strand or so.
ON_FACE_MM = 0.6
# A face leans no more than this against the axis of a bore that is square to it, as cosine: 10 degrees.
SQUARE_COS = math.cos(math.radians(10.0))
HEXAGON_SIDES = 6


class Outline(NamedTuple):
    """The polygon of a seat at the face, on the copy, by its width across flats."""

    across_mm: float
    sides: int
    is_cone: bool

    @property
    def radius_mm(self) -> float:
        """How far its corners lie from the axis."""
        return corner_radius_mm(self.across_mm, self.sides)


@dataclass(frozen=True, slots=True)
class SeatCut:
    """A seat as it is cut.

    mouth : where it opens; face : the flat face's name, '' where it is on none
    outline : at its rim, on the copy
    deep_mm : from the lowest place of its rim to where the bore begins
    """

    seat: Seat
    mouth: Mouth
    face: str
    outline: Outline
    deep_mm: float

    def see_floor(self, depths_mm: Array) -> None:
        """See that enough is left beneath. Raises CannotRebuild."""
        left_mm = float(depths_mm.min())
        if left_mm < self.seat.least_floor_mm:
            what = f"only {max(left_mm, 0.0):.1f} mm would be left under its {self.seat.sinks}"
            raise CannotRebuild(f"{what}, and {self.seat.least_floor_mm:g} mm is the least")


def seat_outline(seat: Seat, allowance_mm: float, loss_mm: float) -> Outline:
    """A seat's polygon at the face: a nut's six sides, or a circle's."""
    across_mm = seat.across_mm + allowance_mm
    sides = HEXAGON_SIDES if seat.form == "hexagon" else sides_for(across_mm, loss_mm)
    return Outline(across_mm, sides, seat.form == "countersunk")


def seated_ends(seat: Seat | None, planes: Sequence[Plane], axis: Array, found: Sequence[FoundMouth]) -> frozenset[int]:
    """Which way the mouth looks that gets the seat, +1 along the axis; both ways where that is not known.

    Where the sheet does not say, it is the one mouth at which the original had a countersink or a counterbore.
    """
    if seat is None:
        return frozenset()
    named = frozenset(1 if float(plane.normal @ axis) > 0.0 else -1 for plane in planes if plane.name == seat.on)
    as_it_was = frozenset(mouth.outward for mouth in found) if seat.on is None else frozenset[int]()
    both = frozenset((-1, 1))
    return named or (as_it_was if len(as_it_was) == 1 else both)


def seat_cut(
    seat: Seat,
    around: Around,
    opening: Opening,
    planes: Sequence[Plane],
    scale: float,
    outline: Outline,
    ends: frozenset[int] = frozenset((-1, 1)),
) -> SeatCut:
    """The seat at the mouth that the sheet names, or at the only one.

    planes : as found; scale : what their lengths are divided by on the copy
    ends : which way that mouth may look
    Raises CannotRebuild where no mouth, or more than one, may be meant.
    """
    mouths = [mouth for channel in opening.channels for mouth in channel] + [mouth for mouth, _ in opening.blind]
    faces = [_face_of(around, mouth, planes, scale) for mouth in mouths]
    meant = [k for k, face in enumerate(faces) if seat.on in (None, face) and mouths[k].outward in ends]
    if len(meant) != 1:
        raise CannotRebuild(_which_mouth(seat, [face for face in faces if face]))
    return SeatCut(seat, mouths[meant[0]], faces[meant[0]], outline, seat.deep_mm)


def _face_of(around: Around, mouth: Mouth, planes: Sequence[Plane], scale: float) -> str:
    """Name of the flat face a mouth opens on, '' where there is none."""
    axis = around.turn[2]
    for plane in planes:
        rise = float(plane.normal @ axis)
        if rise * mouth.outward < SQUARE_COS:
            continue
        height_mm = float(plane.normal @ (plane.centre_mm / scale - around.origin_mm)) / rise
        if abs(height_mm - mouth.height_mm) < ON_FACE_MM:
            return plane.name
    return ""


def _which_mouth(seat: Seat, faces: Sequence[str]) -> str:
    choices = " or ".join(f'"{face}"' for face in faces)
    if seat.on is None:
        remedy = f": write seat_on = {choices}" if choices else ", and no flat face tells them apart"
        return f"it has more than one mouth for its {seat.sinks}{remedy}"
    return f"it has no one mouth on {seat.on}" + (f"; its mouths are on {choices}" if choices else "")
