"""A part cut into pieces that fit the bed, each closed, with what holds them together."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from verifier.correcting.reshaping.cap import Inset, cap_over
from verifier.correcting.reshaping.joint import Joint, clearances_from, joint_for
from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.outline import outline_of
from verifier.correcting.reshaping.pieces import Piece, Pieces
from verifier.correcting.reshaping.section import Divided, clear_of_corners_mm, divided_at, heights_mm, loops_of
from verifier.correcting.reshaping.stretch import Line, line_of
from verifier.correcting.reshaping.work import CannotReshape, Work
from verifier.finding.fits import frame_along
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, IntArray, Mesh, drop_unused_vertices
from verifier.rulebook import Printer
from verifier.rulebook.reshape_row import Reshape

# A piece keeps this far from the bed's edges on either side, for a brim. Common practice, no source.
BED_EDGE_MM = 5.0
# Where the tool chooses a cut it looks this share of a piece's length to both sides of an even division.
LOOKED_SHARE = 0.3
LOOKED_EVERY_MM = 2.0
# A cut keeps this far from bores and bosses that lie across it.
FROM_BORE_MM = 2.0
# A direction within this of upright is cut across the layers.
UPRIGHT_WITHIN_DEG = 15.0


def cut_apart(work: Work, wanted: Reshape, names: Names, printer: Printer, larger: Array) -> tuple[Pieces, str]:
    """The pieces in their order along the direction; and what was done, a sentence.

    larger : factors by which the print is made larger against shrinkage, (3,) x, y, z of the bed
    Raises CannotReshape.
    """
    line = line_of(work, wanted, names)
    upright = abs(float(line.direction @ work.up)) >= np.cos(np.radians(UPRIGHT_WITHIN_DEG))
    heights = heights_mm(work.mesh, line.direction, line.from_mm)
    places = _places(work, wanted, line, heights, printer, larger, upright=upright)
    if not places:
        return Pieces((), ()), "It fits the bed in one piece and was not cut."
    pieces, joints = [], []
    rest, cuts = work.solid, []
    for tried in places:
        below, rest, joint, at_mm = _first_possible(rest, line, tried, wanted, printer, upright=upright)
        cuts.append(at_mm)
        pieces.append(below)
        joints.append(joint)
    pieces.append(rest)
    named = tuple(
        Piece(f"piece {k} of {len(pieces)}", solid, tuple(cuts[max(0, k - 2) : k])) for k, solid in enumerate(pieces, 1)
    )
    where = " and ".join(f"{at:.1f}" for at in cuts)
    counted = f"from '{wanted.between[0]}'" if wanted.between else f"along its {wanted.along or 'length'}"
    return Pieces(named, tuple(joints)), f"Cut into {len(pieces)} pieces at {where} mm {counted}: {joints[0].says}."


def _places(
    work: Work, wanted: Reshape, line: Line, heights: Array, printer: Printer, larger: Array, *, upright: bool
) -> list[Array]:
    """For every cut the heights to try, best first."""
    low, high = float(heights.min()), float(heights.max())
    if wanted.at is not None:
        for at in wanted.at:
            if not low < at < high:
                do = f"It reaches from {low:.1f} to {high:.1f} mm: cut it between"
                raise CannotReshape(f"a cut at {at:g} mm does not cross the part", do)
        return [np.array([at]) for at in wanted.at]
    bed_mm = printer.bed_z_mm if upright else max(printer.bed_x_mm, printer.bed_y_mm) - 2.0 * BED_EDGE_MM
    factor = float(larger[2] if upright else larger[0])
    count = ceil((high - low) * factor / bed_mm)
    step = (high - low) / count
    looked = np.arange(0.0, LOOKED_SHARE * step, LOOKED_EVERY_MM)
    # Pieces may grow to the bed's length and no further.
    spare = max(0.0, bed_mm / factor - step) / 2.0
    looked = looked[looked <= max(spare, 0.0)] if count > 1 else looked
    offsets = np.stack([looked, -looked], axis=1).ravel()[1:]
    return [_clear_of_bores(work, line, low + k * step + offsets) for k in range(1, count)]


def _clear_of_bores(work: Work, line: Line, tried: Array) -> Array:
    """The heights at which no bore or boss lies in the cut; all of them where none is clear."""
    clear = np.ones(len(tried), dtype=bool)
    for cylinder in work.found.cylinders:
        if abs(float(cylinder.axis @ line.direction)) < 0.5:
            at = float((cylinder.axis_point_mm - line.from_mm) @ line.direction)
            clear &= np.abs(tried - at) > cylinder.diameter_mm / 2.0 + FROM_BORE_MM
    return tried[clear] if clear.any() else tried


def _first_possible(
    solid: Solid, line: Line, tried: Sequence[float] | Array, wanted: Reshape, printer: Printer, *, upright: bool
) -> tuple[Solid, Solid, Joint, float]:
    """The first of the heights at which a cut with its joint can be made; the reason of the first where none can."""
    first: CannotReshape | None = None
    for at_mm in tried:
        try:
            return _cut(solid, line, float(at_mm), wanted, printer, upright=upright)
        except CannotReshape as error:
            first = first or error
    assert first is not None
    raise first


@dataclass(frozen=True, slots=True)
class _Frame:
    """Two axes across the cut's direction, and that direction; its origin lies on the cut."""

    turn: Array
    origin_mm: Array

    def flat(self, points_mm: Array) -> Array:
        return np.asarray((points_mm - self.origin_mm) @ self.turn[:2].T)

    def back_mm(self, local_mm: Array) -> Array:
        return np.asarray(local_mm @ self.turn + self.origin_mm)


def _cut(
    solid: Solid, line: Line, at_mm: float, wanted: Reshape, printer: Printer, *, upright: bool
) -> tuple[Solid, Solid, Joint, float]:
    heights = heights_mm(solid.mesh, line.direction, line.from_mm)
    at_mm = clear_of_corners_mm(heights, at_mm)
    divided = divided_at(solid.mesh, heights, at_mm)
    if not divided.above.any() or divided.above.all():
        raise CannotReshape(f"a cut at {at_mm:.1f} mm does not cross the part", "Cut it farther in")
    frame = _Frame(np.stack(frame_along(line.direction)), line.from_mm + at_mm * line.direction)
    across = frame.flat(divided.crossing.points_mm)
    loops = loops_of(divided.crossing.steps)
    outline = outline_of(*(across[divided.crossing.steps[:, k]] for k in (0, 1)))
    joint = joint_for(wanted, outline, clearances_from(solid.mesh, frame.back_mm), printer, upright=upright)
    below = _closed(solid, divided, ~divided.above, frame, loops, joint.below, outward=1)
    above = _closed(solid, divided, divided.above, frame, loops, joint.above, outward=-1)
    return below, above, joint, at_mm


def _closed(
    solid: Solid,
    divided: Divided,
    side: BoolArray,
    frame: _Frame,
    loops: Sequence[IntArray],
    insets: Sequence[Inset],
    *,
    outward: int,
) -> Solid:
    """One side of a divided solid, its cut closed; outward is 1 where the cap looks along the direction."""
    count = len(divided.mesh.vertices_mm)
    across = frame.flat(divided.crossing.points_mm)
    cap = cap_over(loops, across, insets)
    faces = np.where(cap.faces < len(across), cap.faces + divided.first, cap.faces - len(across) + count)
    whole = Mesh(
        np.concatenate([divided.mesh.vertices_mm, frame.back_mm(cap.local_mm)]),
        np.concatenate([divided.mesh.faces[side], faces[:, ::outward]]),
    )
    kept = solid.origin[divided.source[side]]
    origin = np.concatenate([kept, np.full(len(faces), Origin.REBUILT, dtype=np.uint8)])
    return Solid(drop_unused_vertices(whole), origin, solid.steps)
