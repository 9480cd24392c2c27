"""Whether a bore's match rests on more than its size: 'sure' needs the constellation behind it."""

from collections.abc import Sequence

import numpy as np

from verifier.measuring import belief as beliefs
from verifier.measuring.constellation import variance_of
from verifier.measuring.frame import Frame
from verifier.measuring.kinds import KINDS
from verifier.measuring.matched import Matched
from verifier.measuring.wanted import Wanted

# A distance agrees with its reading within this many standard deviations: one in 3000 sound ones does not.
AGREES = 3.6
# So many agreeing distances fix a bore in the plane; a look-alike would have to lie where two circles cross.
FIXED_BY = 2


def doubt(matched: Matched, wanted: Sequence[Wanted], place: int) -> str:
    """Why the match of a named row is not sure although it is the best; '' when it is sure.

    Two agreeing distances make it sure. With fewer, it is sure only while nothing it is tied to is missing: where one
    bore could not be found, another may be a look-alike of a second that is missing too.
    """
    if place not in matched.tied:
        return ""
    if not matched.matchings.complete:
        return "there are too many alike to go through every way they could belong to the sheet"
    mine = [row for row in wanted if row.size is not None and place in matched.frame.ends(row)]
    agreeing = sum(_agrees(matched, row) for row in mine if KINDS[row.row.kind].found in ("pair", "from"))
    missing = [name for row in mine for name in _missing_ends(matched, row)]
    if agreeing >= FIXED_BY or not missing:
        return ""
    return f"{missing[0]} was not found, and what is left does not tell this one from a look-alike"


def _agrees(matched: Matched, row: Wanted) -> bool:
    """Whether the best matching has both ends of a distance (or a face for it) and the reading fits."""
    ends = [matched.best(end) for end in matched.frame.ends(row)]
    values = _values(matched.frame, row, [end for end in ends if end is not None]) if None not in ends else []
    size = float(row.size or 0.0)
    for value, u, walls in values:
        expected, spread = beliefs.predict(matched.belief[None], size, walls)
        if abs(value - expected[0]) < AGREES * np.sqrt(spread[0] + variance_of(row.u, u)):
            return True
    return False


def _values(frame: Frame, row: Wanted, ends: Sequence[int]) -> list[tuple[float, float, int]]:
    if len(ends) == 2:
        pair = frame.pair(ends[0], ends[1])
        found = [] if pair is None else [pair]
    else:
        found = list(frame.edges(ends[0]))
    return [(c.value, c.u, c.walls) for c in found]


def _missing_ends(matched: Matched, row: Wanted) -> list[str]:
    named = matched.frame.named
    return [f"'{named[end].row.name}'" for end in matched.frame.ends(row) if matched.best(end) is None]
