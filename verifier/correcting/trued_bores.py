"""Bores that a sheet wants truly round at the size they were measured."""

from verifier.correcting.correction import Correction
from verifier.rulebook import Hole, Sheet
from verifier.rulebook.holes import drill_for


def trued_holes(sheet: Sheet, correction: Correction) -> dict[str, Hole]:
    """The hole of every kept bore that a 'true up' names, by its row; those with a use have one already."""
    named = {name for each in sheet.reshape if each.do == "true up" for name in each.what or ()}
    kept = {row.name for row in sheet.rows if row.kind == "bore" and row.use in {None, "keep"}}
    return {
        size.name: Hole(
            "true",
            round(size.corrected_mm, 6),
            drill_for(size.corrected_mm),
            f"the size it was measured, {size.corrected_mm:.3f} mm",
            "this scan",
            as_measured=True,
        )
        for size in correction.sizes
        if size.name in named & kept
    }
