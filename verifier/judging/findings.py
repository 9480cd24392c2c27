"""What keeps the part as a whole from passing, apart from its rows."""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.correcting.printing import PrintPlan
from verifier.inspection import Verdict
from verifier.joining.posed import JoinReport
from verifier.judging.closed import is_closed
from verifier.judging.judgement import RowJudgement
from verifier.judging.places import what_was_not_seen
from verifier.judging.row import is_told_together
from verifier.judging.same_part import speaks_of_another_part
from verifier.measuring.size import Size
from verifier.mending.solid import Solid
from verifier.reading.scan import LengthUnit
from verifier.rulebook.rules import Rules
from verifier.rulebook.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the part as a whole that keeps it from passing."""

    verdict: Verdict
    reason: str
    do: str


def of_joining(joined: JoinReport | None) -> tuple[Finding, ...]:
    """Scans that may belong together in another way give a part nobody should print unseen."""
    if joined is None or joined.placing.sure:
        return ()
    return (Finding("UNDECIDED", joined.placing.why, joined.placing.do),)


def of_another_part(sizes: Sequence[Size], sheet: Sheet, rules: Rules) -> tuple[Finding, ...]:
    """A sheet that fits hardly anything on the scan is asked about before any of its rows."""
    counted = speaks_of_another_part(sizes, sheet, rules)
    if counted is None:
        return ()
    misfits, fits = counted
    others = "one fits" if fits == 1 else f"{fits or 'none'} fit"
    return (
        Finding(
            "UNDECIDED",
            f"{misfits} readings of the sheet fit nothing on the scan, and {others}.",
            f"See whether the sheet of '{sheet.part}' and the scan are of the same part, and whether anything else "
            "hangs on the scan, such as a stand. If all is right, scan it in more orientations: too little was seen.",
        ),
    )


def of_the_part(
    rows: Sequence[RowJudgement], solid: Solid, rules: Rules, unit: LengthUnit | None
) -> tuple[Finding, ...]:
    """Of the mesh, the export's unit and the sheet's rows all together."""
    found = []
    if not is_closed(solid.mesh):
        found.append(Finding("FAIL", "The mesh is not closed.", "Scan the part again: this mesh cannot be printed."))
    unseen = what_was_not_seen(solid, rules.acceptance.decision)
    if unseen is not None:
        found.append(Finding("UNDECIDED", *unseen))
    if unit is not None and unit.known_by == "guess":
        found.append(
            Finding(
                "UNDECIDED",
                f"The unit of the export is a guess ({unit.name}, from the size of the part).",
                f'Write unit = "{unit.name}" into the sheet if that is right, or the right one.',
            )
        )
    found.extend(_of_all_rows(rows))
    return tuple(found)


def of_reshaping(plan: PrintPlan | None) -> tuple[Finding, ...]:
    """What the sheet wants done to the copy and what could not be."""
    told = () if plan is None or plan.reshaping is None else plan.reshaping.told
    return tuple(
        Finding(
            "UNDECIDED",
            f"The sheet wants '{each.wanted.do}', and that could not be done: {each.why_not}.",
            f"For its '{each.wanted.do}': {each.do[0].lower()}{each.do[1:]}.",
        )
        for each in told
        if not each.made
    )


def _of_all_rows(rows: Sequence[RowJudgement]) -> Sequence[Finding]:
    """What a sheet as a whole lacks; required rows that were not read are told together, and not one by one."""
    if not rows:
        reason = "There is no size to judge the copy by."
        do = "Measure some sizes of the original with the calliper and write them into the sheet."
        return (Finding("UNDECIDED", reason, do),)
    unread = [row.name for row in rows if is_told_together(row)]
    found = []
    if unread:
        names = ", ".join(f"'{name}'" for name in unread)
        reason = f"{len(unread)} of {len(rows)} sizes have no reading yet."
        found.append(Finding("UNDECIDED", reason, f"Measure with the calliper and fill in the reading of {names}."))
    if not any(row.required for row in rows):
        reason = "No row of the sheet is required, so nothing can prove the copy."
        found.append(Finding("UNDECIDED", reason, "Make at least one row required."))
    return found
