"""Everything a sheet wants done to the true copy before it is printed, in its order, each told before and after."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from verifier.correcting.correction import Correction
from verifier.correcting.reshaping.cut_apart import cut_apart
from verifier.correcting.reshaping.engraved import engraved
from verifier.correcting.reshaping.lengthened import lengthened
from verifier.correcting.reshaping.mirrored import mirrored
from verifier.correcting.reshaping.names import Names, names_of
from verifier.correcting.reshaping.pieces import Pieces
from verifier.correcting.reshaping.restored import restored
from verifier.correcting.reshaping.thickened import thickened
from verifier.correcting.reshaping.trued import trued
from verifier.correcting.reshaping.work import CannotReshape, Work, start
from verifier.finding.feature import Features
from verifier.measuring.size import Size
from verifier.mending.check import is_closed_as_written
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, IntArray, volume_mm3
from verifier.rulebook import Printer, Sheet
from verifier.rulebook.reshape_row import Reshape

# Places this near to where they were have not moved.
SAME_PLACE_MM = 1e-6
NOT_CLOSED = "the part would be no closed solid"
# These leave no doubt: a mirror turns signs only, and letters see to it where they exchange faces.
STAYS_CLOSED = frozenset({"mirror", "engrave"})


@dataclass(frozen=True, slots=True)
class Reshaped:
    """One reshaping of the sheet, and what came of it.

    said : what was done, a sentence; '' where it could not be
    why_not : completes 'that could not be done: …'; do : the step that puts it right
    before_mm, after_mm : the part's box along its own length, width and height
    faces : how many faces are new or not where they were
    """

    wanted: Reshape
    said: str
    why_not: str
    do: str
    before_mm: tuple[float, float, float]
    after_mm: tuple[float, float, float]
    before_mm3: float
    after_mm3: float
    faces: int

    @property
    def made(self) -> bool:
        """Whether it was done."""
        return not self.why_not


@dataclass(frozen=True, slots=True)
class Reshaping:
    """The copy as it is to be printed, and how the sheet's sizes follow.

    up : (3,) the direction that becomes up, as the copy lies now
    changes_mm : by row, how much larger it is now by what the sheet wants
    places : by row, the points it is taken between, as the copy lies now
    lost : rows whose surface was made anew, so that nothing measured tells their size
    """

    solid: Solid
    up: Array
    told: tuple[Reshaped, ...] = ()
    pieces: Pieces = field(default_factory=lambda: Pieces((), ()))
    changes_mm: Mapping[str, float] = field(default_factory=dict)
    places: Mapping[str, Array] = field(default_factory=dict)
    lost: frozenset[str] = frozenset()


def reshape(
    copy: Solid,
    of_scan: IntArray | None,
    found: Features,
    sizes: Sequence[Size],
    correction: Correction,
    sheet: Sheet,
    printer: Printer,
    up: Array,
    larger: Array,
) -> Reshaping:
    """Do what the sheet asks for; what cannot be done is left, and says why.

    of_scan : for each face of the copy the face of the scan's solid, -1 for a new one; None where they are the same
    larger : factors by which the print is made larger against shrinkage, (3,)
    """
    if not sheet.reshape:
        return Reshaping(copy, up)
    first = work = start(copy, of_scan, found, sizes, correction, up)
    names = names_of(sizes)
    pieces, told, now = Pieces((), ()), [], _looks(work)
    for wanted in sheet.reshape:
        before, was = work, now
        try:
            if wanted.do == "cut":
                pieces, said = cut_apart(work, wanted, names, printer, larger)
                _check_pieces(pieces)
            else:
                work, said = _done(work, wanted, names, printer)
                if wanted.do not in STAYS_CLOSED and work is not before and not is_closed_as_written(work.mesh):
                    raise CannotReshape(NOT_CLOSED, "Scan the part again, or take this line out")
            if work is not before and wanted.do != "mirror":  # which is as long and as large
                now = _looks(work)
            after_mm3 = sum(piece.solid.volume_mm3 for piece in pieces.pieces) if pieces.pieces else now.mm3
            faces = _changed_faces(before, work, pieces)
            told.append(Reshaped(wanted, said, "", "", was.box_mm, now.box_mm, was.mm3, after_mm3, faces))
        except CannotReshape as error:
            work = before
            told.append(Reshaped(wanted, "", str(error), error.do, was.box_mm, was.box_mm, was.mm3, was.mm3, 0))
    changes = {size.name: _change_mm(size, first, work) for size in sizes if size.name in work.places}
    return Reshaping(
        work.solid,
        work.up,
        tuple(told),
        pieces,
        {name: change for name, change in changes.items() if change is not None},
        work.places,
        work.lost | {name for name, change in changes.items() if change is None},
    )


def _done(
    work: Work,
    wanted: Reshape,
    names: Names,
    printer: Printer,
) -> tuple[Work, str]:
    match wanted.do:
        case "mirror":
            of = "its own scan" if wanted.of is None else f"the scan of {wanted.of}"
            return mirrored(work), f"Mirrored: made from {of}, left for right."
        case "lengthen":
            return lengthened(work, wanted, names)
        case "thicken":
            return thickened(work, wanted, names)
        case "true up":
            return trued(work, wanted)
        case "restore":
            return restored(work, wanted, names)
        case "engrave":
            return engraved(work, wanted, names, printer)
    raise AssertionError(wanted.do)


def _check_pieces(pieces: Pieces) -> None:
    for piece in pieces.pieces:
        if not is_closed_as_written(piece.solid.mesh):
            raise CannotReshape(f"{piece.name} would be no closed solid", "Cut it somewhere else")


class _Looks(NamedTuple):
    """The part's size along its own axes, and its volume."""

    box_mm: tuple[float, float, float]
    mm3: float


def _looks(work: Work) -> _Looks:
    length, width, height = (
        float(np.ptp(work.mesh.vertices_mm @ work.extent(name).direction)) for name in ("length", "width", "height")
    )
    return _Looks((length, width, height), volume_mm3(work.mesh))


def _changed_faces(before: Work, after: Work, pieces: Pieces) -> int:
    """How many faces more are marked REBUILT."""
    now = [piece.solid for piece in pieces.pieces] or [after.solid]
    count = sum(int((solid.origin == Origin.REBUILT).sum()) for solid in now)
    return count - int((before.solid.origin == Origin.REBUILT).sum())


def _change_mm(size: Size, first: Work, last: Work) -> float | None:
    """How much larger a row's size has become by the way its two ends moved; None where that does not tell.

    An overall size counts along its direction, a centre distance is the distance itself, and sizes between faces count
    along the line between them. A diameter stays. A size over more places than two stays only while they all do.
    """
    before, after = first.places[size.name], last.places[size.name] * last.signs
    if size.walls == -2 or len(before) < 2 or (size.walls == 2 and size.features[:1] and _is_round(size, first)):
        return 0.0
    if len(before) > 2:
        was, now = (np.linalg.norm(places - places[0], axis=1) for places in (before, after))
        return 0.0 if np.abs(now - was).max() < SAME_PLACE_MM else None
    names = [extent.name for extent in first.found.extents if extent.name in size.features]
    if names:
        return abs(_along(after, last, names[0])) - abs(_along(before, first, names[0]))
    span, now = before[-1] - before[0], after[-1] - after[0]
    if size.walls == 0 and all(first.cylinder(name) is not None for name in size.features):
        return float(np.linalg.norm(now) - np.linalg.norm(span))
    length = float(np.linalg.norm(span))
    return float((now - span) @ span / length) if length > 0.0 else 0.0


def _is_round(size: Size, work: Work) -> bool:
    return work.cylinder(size.features[0]) is not None


def _along(points: Array, work: Work, name: str) -> float:
    return float((points[-1] - points[0]) @ (work.extent(name).direction * work.signs))
