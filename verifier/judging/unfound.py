"""Sizes of which nothing was surely found: many of them are one thing to say, with the place where it may lie."""

from collections.abc import Sequence

from verifier.judging.judgement import RowJudgement
from verifier.judging.places import widest_hole
from verifier.judging.row import quoted, to_have_seen
from verifier.mending.solid import Solid
from verifier.rulebook.rules import Decision

# One swallowed bore leaves its own row open, a distance to it, and the rows that look like it.
MANY = 3


def is_unfound(row: RowJudgement) -> bool:
    """Whether nothing helps a required row but that the scanner sees what it is taken of."""
    return row.required and row.verdict != "PASS" and row.do == to_have_seen([row.name])


def told_at_once(rows: Sequence[RowJudgement], solid: Solid | None, limits: Decision) -> tuple[str, ...]:
    """One sentence for many such rows; none where they are few. What was looked for stands in each row.

    solid : what they may be missing on; None where sheet and scan may be of two parts
    """
    names = [row.name for row in rows if is_unfound(row)]
    if len(names) < MANY:
        return ()
    hole = None if solid is None else widest_hole(solid, limits)
    where = "" if hole is None else f" What they are taken of may be missing at {hole}, where the scan has a hole."
    return (f"{len(names)} sizes were not surely found: {quoted(names)}.{where}",)
