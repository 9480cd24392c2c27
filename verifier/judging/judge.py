"""The verdict of the part: every required row passes, the mesh is closed, and little enough of it was invented."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.correcting.bores import RebuiltBore, made_anew_with, rebuilt_bore
from verifier.correcting.correction import Correction
from verifier.correcting.printing import PrintPlan, printed_sizes
from verifier.inspection import Verdict
from verifier.joining.posed import JoinReport
from verifier.judging.closed import is_closed
from verifier.judging.decision import decide
from verifier.judging.judgement import Judgement, RowJudgement
from verifier.judging.on_print import (
    Doubt,
    doubt_of_print,
    expected_on_print,
    largest_doubt,
    limits_on_print,
    to_learn,
    worth_measuring,
)
from verifier.judging.places import what_was_not_seen, what_was_thrown_away
from verifier.judging.row import NOT_READ, gather_facts, judge_row, to_have_seen
from verifier.judging.same_part import speaks_of_another_part
from verifier.measuring.size import Size
from verifier.mending.solid import Solid
from verifier.reading.scan import LengthUnit
from verifier.rulebook.rules import Rules
from verifier.rulebook.sheet import Sheet
from verifier.rulebook.size_kinds import SHAPE_KINDS


@dataclass(frozen=True, slots=True)
class Finding:
    """Something about the part as a whole that keeps it from passing."""

    verdict: Verdict
    reason: str
    do: str


def judge(
    sizes: Sequence[Size],
    correction: Correction,
    sheet: Sheet,
    rules: Rules,
    solid: Solid,
    plan: PrintPlan | None,
    unit: LengthUnit | None = None,
    joined: JoinReport | None = None,
) -> Judgement:
    """Judge every row of the sheet, and the copy by its required rows.

    sizes : one for each row, in the order of the sheet
    solid : for what was invented of it, and whether it is closed
    plan : for the sizes after printing, which inform and do not decide; None leaves them out
    unit : of the export; a guessed one leaves the part undecided
    joined : of several scans; where there are two ways of joining them the part is undecided
    """
    bores = () if plan is None else plan.bores
    rebuilt = [rebuilt_bore(size, bores) for size in sizes]
    rows = tuple(
        judge_row(gather_facts(row, size, correction, sheet, rules, bore, made_anew_with(size, bores)))
        for row, size, bore in zip(sheet.rows, sizes, rebuilt, strict=True)
    )
    if plan is not None:
        rows = _with_printed(rows, sizes, sheet, plan, rebuilt, rules.acceptance.decision.coverage_factor)
    # Which way scans belong together is asked first: the part that is judged here may be another.
    another = _of_another_part(sizes, sheet, rules)
    findings = (*of_joining(joined), *another, *_of_the_part(rows, solid, rules, unit), *_of_reshaping(plan))
    verdict = _worst(findings, rows)
    learn = () if plan is None else to_learn(_doubts(rows, sizes, plan, rules), sheet.part, plan)
    # What to do about each row of a sheet that is another part's would only lead astray.
    steps = (
        tuple(finding.do for finding in findings)
        if another
        else _next_steps(verdict, rows, findings, correction, rebuilt, learn)
    )
    steps = (*steps, *what_was_thrown_away(solid))
    return Judgement(rows, verdict, _reasons(verdict, rows, findings), steps)


def _doubts(rows: Sequence[RowJudgement], sizes: Sequence[Size], plan: PrintPlan, rules: Rules) -> list[Doubt]:
    """What the rows that printing may spoil are doubtful by."""
    k = rules.acceptance.decision.coverage_factor
    doubtful = {row.name for row in worth_measuring(rows)}
    pairs = zip(rows, sizes, strict=True)
    return [largest_doubt(row, size, plan, k) for row, size in pairs if row.name in doubtful]


def _with_printed(
    rows: tuple[RowJudgement, ...],
    sizes: Sequence[Size],
    sheet: Sheet,
    plan: PrintPlan,
    rebuilt: Sequence[RebuiltBore | None],
    k: float,
) -> tuple[RowJudgement, ...]:
    """The rows with their size on the print; how shrinking turns an angle or warps a face is not foretold."""
    changes = {} if plan.reshaping is None else plan.reshaping.changes_mm
    rows = tuple(
        replace(judged, reshaped_by=0.0 if row.kind in SHAPE_KINDS else changes.get(row.name, 0.0))
        for row, judged in zip(sheet.rows, rows, strict=True)
    )
    lengths = [
        None if row.kind in SHAPE_KINDS or judged.corrected is None else judged.corrected + judged.reshaped_by
        for row, judged in zip(sheet.rows, rows, strict=True)
    ]
    printed = printed_sizes(sizes, lengths, plan)
    rows = tuple(_printed(row, each, bore, k) for row, each, bore in zip(rows, printed, rebuilt, strict=True))
    return tuple(
        replace(judged, printed_doubt=doubt_of_print(judged, row.kind, size, plan, k))
        for row, judged, size in zip(sheet.rows, rows, sizes, strict=True)
    )


def _printed(
    row: RowJudgement, printed: tuple[float, float] | None, bore: RebuiltBore | None, k: float
) -> RowJudgement:
    """The row with what its size should be on the print: the copy's uncertainty and the printing's together.

    A rebuilt bore is exact on the copy, and one that is made for a screw is not held to the limits of the old one.
    """
    if printed is not None and bore is not None and bore.made and not bore.hole.as_measured:
        return _printed_as_rebuilt(row, printed, bore, k)
    if printed is None or row.expanded_u is None or row.coverage_factor is None:
        return row
    value, u_printing = printed
    u = float(np.hypot(row.expanded_u / row.coverage_factor, u_printing))
    limits = limits_on_print(row)
    verdict = None if limits is None else decide(value, u, *limits, k=row.coverage_factor)
    return replace(row, printed=value, printed_expanded_u=row.coverage_factor * u, printed_verdict=verdict)


def _printed_as_rebuilt(row: RowJudgement, printed: tuple[float, float], bore: RebuiltBore, k: float) -> RowJudgement:
    value, u = printed
    own_limits = row.limits if bore.hole.by_sheet else None
    verdict = None if own_limits is None else decide(value, u, *own_limits, k=k)
    return replace(row, printed=value, printed_expanded_u=k * u, printed_verdict=verdict)


def _of_the_part(
    rows: Sequence[RowJudgement], solid: Solid, rules: Rules, unit: LengthUnit | None
) -> tuple[Finding, ...]:
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


def of_joining(joined: JoinReport | None) -> tuple[Finding, ...]:
    """Scans that may belong together in another way give a part nobody should print unseen."""
    if joined is None or joined.placing.sure:
        return ()
    return (Finding("UNDECIDED", joined.placing.why, joined.placing.do),)


def _of_another_part(sizes: Sequence[Size], sheet: Sheet, rules: Rules) -> tuple[Finding, ...]:
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
            f"See whether the sheet of '{sheet.part}' and the scan are of the same part. If they are, scan it in more "
            "orientations, so that more of it is seen.",
        ),
    )


def _of_reshaping(plan: PrintPlan | None) -> tuple[Finding, ...]:
    """What the sheet wants done to the copy and what could not be."""
    told = () if plan is None or plan.reshaping is None else plan.reshaping.told
    return tuple(
        Finding(
            "UNDECIDED",
            f"The sheet wants '{each.wanted.do}', and that could not be done: {each.why_not}.",
            f"{each.do}.",
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
    unread = [row.name for row in rows if _is_told_together(row)]
    found = []
    if unread:
        names = ", ".join(f"'{name}'" for name in unread)
        reason = f"{len(unread)} of {len(rows)} sizes have no reading yet."
        found.append(Finding("UNDECIDED", reason, f"Measure with the calliper and fill in the reading of {names}."))
    if not any(row.required for row in rows):
        reason = "No row of the sheet is required, so nothing can prove the copy."
        found.append(Finding("UNDECIDED", reason, "Make at least one row required."))
    return found


def _is_told_together(row: RowJudgement) -> bool:
    return row.required and row.reason == NOT_READ


def _worst(findings: Sequence[Finding], rows: Sequence[RowJudgement]) -> Verdict:
    """FAIL beats UNDECIDED, and both beat PASS."""
    verdicts = {finding.verdict for finding in findings} | {row.verdict for row in rows if row.required}
    if "FAIL" in verdicts:
        return "FAIL"
    return "UNDECIDED" if "UNDECIDED" in verdicts else "PASS"


def _reasons(verdict: Verdict, rows: Sequence[RowJudgement], findings: Sequence[Finding]) -> tuple[str, ...]:
    required = [row for row in rows if row.required]
    if verdict == "PASS":
        many = f"All {len(required)} required sizes lie" if len(required) > 1 else "The required size lies"
        return (f"{many} within the limits with certainty enough.", "The mesh is closed.")
    open_rows = (row for row in required if row.verdict != "PASS" and not _is_told_together(row))
    blocking = sorted(open_rows, key=lambda row: row.verdict != "FAIL")
    return (
        *(finding.reason for finding in findings if finding.verdict == "FAIL"),
        *(f"'{row.name}': {row.reason}" for row in blocking),
        *(finding.reason for finding in findings if finding.verdict != "FAIL"),
    )


def _next_steps(
    verdict: Verdict,
    rows: Sequence[RowJudgement],
    findings: Sequence[Finding],
    correction: Correction,
    rebuilt: Sequence[RebuiltBore | None],
    to_learn: tuple[str, ...],
) -> tuple[str, ...]:
    """What the person does now, each thing once: readings first, for they cost a minute and a scan an hour."""
    open_rows = (row for row in rows if row.required and row.do and not _is_told_together(row))
    blocking = sorted(open_rows, key=lambda row: row.verdict != "FAIL")
    optional = (row for row in rows if not row.required and row.do)
    # While readings are missing, what they lack for scale and coat is not known yet.
    advice = () if any(map(_is_told_together, rows)) else correction.advice
    steps = (
        *(
            ("Slice the copy and print it.", *_after_printing(rows, to_learn), *_to_drill(rebuilt))
            if verdict == "PASS"
            else ()
        ),
        *(finding.do for finding in findings),
        *advice,
        *_of_rows(blocking),
        *_of_rows(optional),
    )
    return tuple(dict.fromkeys(steps))


def _of_rows(rows: Iterable[RowJudgement]) -> Iterable[str]:
    """What to do about each row; those that only have to be seen together, where the first of them stands."""
    rows = tuple(rows)
    unseen = [row.name for row in rows if row.do == to_have_seen([row.name])]
    return (to_have_seen(unseen) if row.name in unseen else row.do for row in rows)


def _after_printing(rows: Sequence[RowJudgement], to_learn: tuple[str, ...]) -> tuple[str, ...]:
    """The sizes that printing may spoil, in one sentence; and what makes that surer.

    to_learn : of the doubtful rows
    """
    doubtful = worth_measuring(rows)
    if not doubtful:
        return ()
    told = ", ".join(expected_on_print(row) for row in doubtful)
    return (f"Measure on the print what printing may spoil: {told}.", *to_learn)


def _to_drill(rebuilt: Sequence[RebuiltBore | None]) -> tuple[str, ...]:
    """The bores that are no holes until they are drilled, in one sentence."""
    filled = [bore for bore in rebuilt if bore is not None and bore.made and bore.printed_mm is None]
    if not filled:
        return ()
    told = ", ".join(
        f"'{bore.row}'" + (f" ({bore.hole.drill_mm:g} mm)" if bore.hole.drill_mm else "") for bore in filled
    )
    return (f"Drill at the marks on the print: {told}.",)
