"""The verdict of the part: every required row passes, the mesh is closed, and little enough of it was invented."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from verifier.correcting.bores import RebuiltBore, made_anew_with, rebuilt_bore
from verifier.correcting.correction import Correction
from verifier.correcting.printing import PrintPlan, printed_sizes
from verifier.inspection import Verdict
from verifier.joining.posed import JoinReport
from verifier.judging.decision import decide
from verifier.judging.findings import Finding, of_another_part, of_joining, of_reshaping, of_the_part
from verifier.judging.judgement import Judgement, RowJudgement
from verifier.judging.on_print import (
    Doubt,
    doubt_of_print,
    largest_doubt,
    limits_on_print,
    to_learn,
    worth_measuring,
)
from verifier.judging.places import what_was_thrown_away
from verifier.judging.row import gather_facts, is_told_together, judge_row
from verifier.judging.steps import next_steps
from verifier.judging.unfound import is_unfound, told_at_once
from verifier.measuring.size import Size
from verifier.mending.solid import Solid
from verifier.reading.scan import LengthUnit
from verifier.rulebook.rules import Rules
from verifier.rulebook.sheet import Sheet
from verifier.rulebook.size_kinds import SHAPE_KINDS


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
    another = of_another_part(sizes, sheet, rules)
    findings = (*of_joining(joined), *another, *of_the_part(rows, solid, rules, unit), *of_reshaping(plan))
    verdict = _worst(findings, rows)
    learn = () if plan is None else to_learn(_doubts(rows, sizes, plan, rules), sheet.part, plan)
    # What to do about each row of a sheet that is another part's would only lead astray.
    steps = (
        tuple(finding.do for finding in findings)
        if another
        else next_steps(verdict, rows, findings, correction, rebuilt, learn)
    )
    steps = (*steps, *what_was_thrown_away(solid))
    unfound = told_at_once(rows, None if another else solid, rules.acceptance.decision)
    return Judgement(rows, verdict, _reasons(verdict, rows, findings, unfound), steps)


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


def _worst(findings: Sequence[Finding], rows: Sequence[RowJudgement]) -> Verdict:
    """FAIL beats UNDECIDED, and both beat PASS."""
    verdicts = {finding.verdict for finding in findings} | {row.verdict for row in rows if row.required}
    if "FAIL" in verdicts:
        return "FAIL"
    return "UNDECIDED" if "UNDECIDED" in verdicts else "PASS"


def _reasons(
    verdict: Verdict, rows: Sequence[RowJudgement], findings: Sequence[Finding], unfound: tuple[str, ...]
) -> tuple[str, ...]:
    """Each a sentence; unfound : the one for rows of which many were not found, none where those are few."""
    required = [row for row in rows if row.required]
    if verdict == "PASS":
        many = f"All {len(required)} required sizes lie" if len(required) > 1 else "The required size lies"
        return (f"{many} within the limits with certainty enough.", "The mesh is closed.")
    open_rows = (
        row
        for row in required
        if row.verdict != "PASS" and not is_told_together(row) and not (unfound and is_unfound(row))
    )
    blocking = sorted(open_rows, key=lambda row: row.verdict != "FAIL")
    return (
        *(finding.reason for finding in findings if finding.verdict == "FAIL"),
        *(f"'{row.name}': {row.reason}" for row in blocking),
        *unfound,
        *(finding.reason for finding in findings if finding.verdict != "FAIL"),
    )
