"""Whether a bore's match rests on more than its size: 'sure' needs the constellation behind it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.measuring import belief as beliefs
from verifier.measuring.constellation import variance_of
from verifier.measuring.frame import Frame, ties
from verifier.measuring.hypotheses import NOBODY
from verifier.measuring.matched import Matched
from verifier.measuring.wanted import Wanted

# A distance agrees with its reading within this many standard deviations: one in 3000 sound ones does not.
AGREES = 3.6
# So many agreeing distances fix a bore in the plane; a look-alike would have to lie where two circles cross.
FIXED_BY = 2
# Misread values of 0.2 to 0.5 mm happen at a bench; with scatter, what is further off than this is rather another bore.
BELIEVED_MM = 0.6
# Bores within this of a reading look like the one read: 0.2 of coat on both walls, and the scatter of mouldings.
LOOKS_ALIKE_MM = 0.4


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a match is not sure although it is the best.

    among_equals : only which of several alike it is, is in doubt; that does no harm where all give one number
    """

    reason: str
    among_equals: bool = False


def doubt(matched: Matched, wanted: Sequence[Wanted], place: int) -> Doubt | None:
    """What is in doubt about the match of a named row; None when it is sure.

    Two agreeing distances make it sure. With fewer it is sure only while nothing it is tied to is missing, for a second
    may be missing too and this be a look-alike of it; and while no bore that no row claims looks like it or its
    neighbours: of 1000 levers with bores missing and two look-alikes, nine had one at the right distance by chance.
    """
    if place not in matched.tied:
        return None
    if not matched.matchings.complete:
        return Doubt("there are too many alike to go through every way they could belong to the sheet")
    mine = _distances_of(matched, wanted, place)
    agreeing = sum(_agrees(matched, row) for row in mine)
    too_far = [row.row.name for row in mine if _error_mm(matched, row) > BELIEVED_MM]
    if too_far:
        return Doubt(
            f"'{too_far[0]}' is further off than a misread value mostly is: read it again, or this is another one"
        )
    near = sorted({place, *(end for row in mine for end in matched.frame.ends(row))})
    alike = [name for end in near for name in _unclaimed_look_alikes(matched, end)]
    missing = [matched.frame.named[end].row.name for end in near if (None,) in matched.owners([end])]
    if agreeing < FIXED_BY and missing:
        return Doubt(f"'{missing[0]}' was perhaps not found, and the rest does not tell this one from a look-alike")
    if agreeing < FIXED_BY and alike:
        reason = f"{alike[0]} looks alike and is on no row: give it one, or one more centre distance to this"
        return Doubt(reason, among_equals=True)
    return _doubt_by_misreading(matched, wanted, agreeing, alike)


def held_by_one_distance(matched: Matched, wanted: Sequence[Wanted], place: int) -> bool:
    """Whether but one distance tells a named row from a look-alike, or none that fits (it may be misread).

    Were its own bore not scanned, and another of its size as far from the other end (one in a thousand levers with a
    bore missing and a look-alike drawn anywhere), nothing on the scan would show it.
    """
    return place in matched.tied and place not in _held_by_two(matched, wanted)


def _held_by_two(matched: Matched, wanted: Sequence[Wanted]) -> set[int]:
    """Named rows that two agreeing distances hold.

    While a reading is held to be misread, only to bores held so themselves, or to faces: without that reading four
    bores in a ring are a chain, and two look-alikes as far apart as its middle two can take their places.
    """
    agreeing = [matched.frame.ends(row) for row in wanted if ties(row) and _agrees(matched, row)]
    nobody_misread = int(matched.matchings.found.misread[0]) == NOBODY
    held = set(matched.tied)
    while True:
        counted = [end for ends in agreeing if nobody_misread or held.issuperset(ends) for end in ends]
        loose = {place for place in held if counted.count(place) < FIXED_BY}
        if not loose:
            return held
        held -= loose
        if nobody_misread:
            return held


def _distances_of(matched: Matched, wanted: Sequence[Wanted], place: int) -> list[Wanted]:
    """Rows that are distances of known size from a named row."""
    return [row for row in wanted if ties(row) and place in matched.frame.ends(row)]


def _doubt_by_misreading(
    matched: Matched, wanted: Sequence[Wanted], agreeing: int, alike: Sequence[str]
) -> Doubt | None:
    """A value held to be misread may be true and a look-alike have been taken: one agreeing distance more is asked."""
    misread = int(matched.matchings.found.misread[0])
    if misread == NOBODY or not alike or agreeing > FIXED_BY:
        return None
    name = wanted[misread].row.name
    return Doubt(f"'{name}' does not fit, and {alike[0]}, which is on no row, looks alike: read '{name}' again")


def _agrees(matched: Matched, row: Wanted) -> bool:
    """Whether the best matching has both ends of a distance (or a face for it) and the reading fits."""
    return any(abs(error) < AGREES * u for error, u in _errors(matched, row))


def _error_mm(matched: Matched, row: Wanted) -> float:
    """How far the reading of a distance between two bores is off in the best matching; 0 where an end is missing.

    Of an edge distance nothing is said: its face may not have been found, and the nearest is another one.
    """
    between = len(matched.frame.ends(row)) == 2
    return max((abs(error) for error, _ in _errors(matched, row)), default=0.0) if between else 0.0


def _errors(matched: Matched, row: Wanted) -> list[tuple[float, float]]:
    """Seen less expected, and the standard uncertainty of that, at each place the best matching leaves for a row."""
    ends = [matched.best(end) for end in matched.frame.ends(row)]
    values = _values(matched.frame, row, [end for end in ends if end is not None]) if None not in ends else []
    size = float(row.size or 0.0)
    predicted = [(beliefs.predict(matched.belief[None], size, walls), value, u) for value, u, walls in values]
    return [
        (float(value - expected[0]), float(np.sqrt(spread[0] + variance_of(row.u, u))))
        for (expected, spread), value, u in predicted
    ]


def _values(frame: Frame, row: Wanted, ends: Sequence[int]) -> list[tuple[float, float, float]]:
    if len(ends) == 2:
        pair = frame.pair(ends[0], ends[1])
        found = [] if pair is None else [pair]
    else:
        found = list(frame.edges(ends[0]))
    return [(c.value, c.u, c.walls) for c in found]


def _unclaimed_look_alikes(matched: Matched, place: int) -> list[str]:
    """Cylinders that no row has in the best matching, as large as a row is read or as the one it has."""
    row, choices = matched.frame.named[place], matched.frame.choices[place]
    claimed = {matched.best(other) for other in range(len(matched.frame.named))}
    found = matched.best(place)
    like = [size for size in (row.size, None if found is None else choices[found].value) if size is not None]
    alike = [c for c, seen in choices.items() if any(abs(seen.value - size) < LOOKS_ALIKE_MM for size in like)]
    return [matched.frame.cylinder(c).name for c in alike if c not in claimed]
