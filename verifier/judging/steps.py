"""What the person does now, first thing first."""

from collections.abc import Iterable, Sequence

from verifier.correcting.bores import RebuiltBore
from verifier.correcting.correction import Correction
from verifier.inspection import Verdict
from verifier.judging.findings import Finding
from verifier.judging.judgement import RowJudgement
from verifier.judging.on_print import expected_on_print, worth_measuring
from verifier.judging.row import is_told_together, to_have_seen


def next_steps(
    verdict: Verdict,
    rows: Sequence[RowJudgement],
    findings: Sequence[Finding],
    correction: Correction,
    rebuilt: Sequence[RebuiltBore | None],
    to_learn: tuple[str, ...],
) -> tuple[str, ...]:
    """What the person does now, each thing once: readings first, for they cost a minute and a scan an hour."""
    open_rows = (row for row in rows if row.required and row.do and not is_told_together(row))
    blocking = sorted(open_rows, key=lambda row: row.verdict != "FAIL")
    optional = (row for row in rows if not row.required and row.do)
    # While readings are missing, what they lack for scale and coat is not known yet.
    advice = () if any(map(is_told_together, rows)) else correction.advice
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
