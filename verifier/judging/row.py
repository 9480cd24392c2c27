"""The verdict of one row of the sheet, and the sentence that says why."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from verifier.correcting.bores import WHICH_ONE, RebuiltBore
from verifier.correcting.correction import Corrected, Correction
from verifier.inspection import Verdict
from verifier.judging.decision import decide, distance_to_limit
from verifier.judging.judgement import RowJudgement
from verifier.judging.remedy import what_would_decide
from verifier.measuring.size import Size
from verifier.rulebook import RowLimits, Rules, Sheet, SheetRow, reading_of, row_limits
from verifier.rulebook.rules import Decision
from verifier.rulebook.size_kinds import SHAPE_KINDS, unit_of
from verifier.uncertainty import same_coverage_factor


@dataclass(frozen=True, slots=True)
class RowFacts:
    """All that is known of one row.

    wanted : the nominal, or the reading without one
    independent : the limits stand whether or not the reading is right
    rebuilt : what became of a bore that the sheet wants rebuilt
    anew : the rebuilt bore with which a countersink or counterbore was made anew or filled
    """

    row: SheetRow
    size: Size
    corrected: Corrected | None
    limits: RowLimits | None
    wanted: float | None
    independent: bool
    correction: Correction
    decision: Decision
    rebuilt: RebuiltBore | None = None
    anew: RebuiltBore | None = None

    @property
    def unit(self) -> str:
        """Of the row's figures."""
        return unit_of(self.row.kind)


def gather_facts(
    row: SheetRow,
    size: Size,
    correction: Correction,
    sheet: Sheet,
    rules: Rules,
    rebuilt: RebuiltBore | None = None,
    anew: RebuiltBore | None = None,
) -> RowFacts:
    """Put together what sheet, scan and correction say about one row."""
    reading = reading_of(row, sheet, rules)
    limits = row_limits(row, sheet)
    independent = row.limits is not None or row.nominal is not None
    if limits is not None and reading is not None and row.reading is not None and not independent:
        # The limits lie about what the part measures, and inside jaws say less than that.
        flats = reading.value - row.reading
        limits = replace(limits, least=limits.least + flats, greatest=limits.greatest + flats)
    return RowFacts(
        row=row,
        size=size,
        corrected=next((each for each in correction.sizes if each.name == row.name), None),
        limits=limits,
        wanted=row.nominal if row.nominal is not None else None if reading is None else reading.value,
        independent=independent,
        correction=correction,
        decision=rules.acceptance.decision,
        rebuilt=rebuilt,
        anew=anew,
    )


def judge_row(facts: RowFacts) -> RowJudgement:
    """PASS, FAIL or UNDECIDED for one row; what cannot be judged is UNDECIDED with what it lacks.

    A bore that was rebuilt is right by the way it was made; only a scan that speaks against the reading it was made by
    is still heard.
    """
    judged = _as_scanned(facts)
    if facts.anew is not None:
        return replace(judged, verdict="PASS", reason=_told_of_mouth(facts.anew), do="")
    if facts.rebuilt is None or facts.size.measured_mm is None:
        return judged
    if not facts.rebuilt.made:
        do = _to_have_it_rebuilt(facts.rebuilt)
        return replace(judged, verdict="UNDECIDED", reason=_told_of_left(facts.row.name, facts.rebuilt), do=do)
    if facts.rebuilt.hole.as_measured:
        return judged
    if facts.rebuilt.hole.by_reading and (judged.verdict == "FAIL" or _suspect(facts) is not None):
        return judged
    return replace(judged, verdict="PASS", reason=_told_of_rebuilt(facts.rebuilt), do="")


def _told_of_left(name: str, bore: RebuiltBore) -> str:
    wanted = f"rebuilt for {bore.hole.made_for}"
    if bore.row != name:
        return f"It cannot be told from '{bore.row}', which the sheet wants {wanted}."
    return f"The sheet wants it {wanted}, and that could not be done: {bore.why_not}."


def _to_have_it_rebuilt(bore: RebuiltBore) -> str:
    if bore.why_not == WHICH_ONE:
        return (
            f"Give every bore that looks like '{bore.row}' a row with the same use, or '{bore.row}' one more distance"
            " that only it has, such as to an edge."
        )
    if bore.hole.seat is not None:
        return f"Write seat_on or another seat in the row '{bore.row}', or take its seat out and cut it by hand."
    return f"Scan the part with both mouths of '{bore.row}' clear, or write use = \"keep\" and drill it by hand."


def _told_of_mouth(bore: RebuiltBore) -> str:
    if bore.hole.seat is None:
        return f"It is filled together with '{bore.row}'."
    return f"It is made anew with '{bore.row}', {bore.hole.seat.in_words}; how it scanned does not matter."


def _told_of_rebuilt(bore: RebuiltBore) -> str:
    if bore.printed_mm is None:
        return f"It is filled, to be drilled for {bore.hole.made_for}."
    return f"It is rebuilt at {bore.printed_mm:.3f} mm for {bore.hole.made_for}; how it scanned does not matter."


def _as_scanned(facts: RowFacts) -> RowJudgement:
    """The row judged by what the scan shows of it."""
    open_question = next((question for obstacle in _OBSTACLES if (question := obstacle(facts)) is not None), None)
    blank = RowJudgement(
        facts.row.name,
        facts.row.required,
        "UNDECIDED",
        reason="" if open_question is None else open_question[0],
        do="" if open_question is None else open_question[1],
        limits=None if facts.limits is None else (facts.limits.least, facts.limits.greatest),
        limits_source="" if facts.limits is None else facts.limits.source,
        one_sided=facts.limits is not None and facts.limits.one_sided,
    )
    if facts.corrected is None:
        return blank
    k = same_coverage_factor(facts.decision.coverage_factor, facts.corrected.dof)
    measured = replace(
        blank,
        corrected=facts.corrected.corrected_mm,
        deviation=None if facts.wanted is None else facts.corrected.corrected_mm - facts.wanted,
        expanded_u=k * facts.corrected.u_mm,
        coverage_factor=k,
    )
    return measured if open_question is not None else _decided(measured, facts, facts.corrected, k)


def _decided(blank: RowJudgement, facts: RowFacts, corrected: Corrected, k: float) -> RowJudgement:
    """The verdict of a row that nothing stands in the way of."""
    assert facts.limits is not None
    least, greatest = facts.limits.floor, facts.limits.greatest
    verdict = decide(corrected.corrected_mm, corrected.u_mm, least, greatest, k)
    if verdict == "PASS" and (away := _mesh_off(facts, corrected, k)) is not None:
        return replace(blank, reason=away[0], do=away[1])
    do = "" if verdict == "PASS" else what_would_decide(facts.size, corrected, facts.correction, least, greatest, k)
    if verdict == "FAIL":
        do = _after_failing(facts)
    return replace(blank, verdict=verdict, reason=_told(facts, corrected, k, verdict), do=do)


def _told(facts: RowFacts, corrected: Corrected, k: float, verdict: Verdict) -> str:
    assert facts.limits is not None
    least, greatest, unit = facts.limits.floor, facts.limits.greatest, facts.unit
    value = corrected.corrected_mm
    figure = f"{value:.3f} ± {k * corrected.u_mm:.3f} {unit}"
    inside = distance_to_limit(value, least, greatest)
    if verdict == "PASS" and facts.limits.one_sided:
        return f"{figure} lies under the {greatest:.3f} {unit} allowed."
    if verdict == "PASS":
        return f"{figure} lies within {least:.3f} to {greatest:.3f} {unit}."
    over = value > (least + greatest) / 2.0
    word = "deviation" if facts.limits.one_sided else "size"
    limit = f"the {'greatest' if over else 'least'} {word} of {greatest if over else least:.3f} {unit}"
    if verdict == "FAIL":
        return f"{figure} is {-inside:.3f} {unit} {'over' if over else 'under'} {limit}."
    side = f"{abs(inside):.3f} {unit} {'inside' if inside >= 0 else 'outside'}"
    return f"{figure} lies {side} {limit}, which is too near to tell."


def _after_failing(facts: RowFacts) -> str:
    if facts.size.set_size > 1:
        return f"Look at the {facts.size.set_size} places of '{facts.row.name}': the worst of them counts."
    return f"Look at '{facts.row.name}' on the part and in the picture: is it worn, bent, or scanned with a fold?"


def _mesh_off(facts: RowFacts, corrected: Corrected, k: float) -> tuple[str, str] | None:
    """A size that is right on the part, while the mesh to print still has an error that could not be attributed."""
    if facts.row.kind in SHAPE_KINDS or facts.size.measured_mm is None:
        return None
    taken = facts.correction
    on_mesh = (facts.size.measured_mm - taken.taken_off_mm(facts.size.walls)) / taken.scale_taken
    off = on_mesh - corrected.corrected_mm
    if abs(off) <= k * corrected.u_mm:
        return None
    return (
        f"The mesh is still {abs(off):.3f} mm {'larger' if off > 0 else 'smaller'} here than the part: it cannot be "
        "corrected while scale and coat are not told apart.",
        next(iter(facts.correction.advice), "Read more sizes of different lengths and kinds with the calliper."),
    )


# --- what stands in the way of a verdict ------------------------------------------------------------------------------

OpenQuestion = tuple[str, str]

NOT_READ = "There is no reading to judge it by."


def is_told_together(row: RowJudgement) -> bool:
    """Whether the row only lacks its reading: all such rows are asked for in one sentence."""
    return row.required and row.reason == NOT_READ


def to_have_seen(names: Sequence[str]) -> str:
    """What to do for rows of which nothing was found; a sentence."""
    if len(names) == 1:
        return f"Scan the part so that '{names[0]}' is seen, or see whether its row is right."
    return f"Scan the part so that {quoted(names)} are seen, or see whether their rows are right."


def quoted(names: Sequence[str]) -> str:
    """'a', 'b' and 'c', each in its quotes; two or more."""
    each = [f"'{name}'" for name in names]
    return f"{', '.join(each[:-1])} and {each[-1]}"


def _not_found(facts: RowFacts) -> OpenQuestion | None:
    if facts.size.measured_mm is not None and facts.corrected is not None:
        return None
    why = facts.size.reason.rstrip(".") or "this size was not found on the scan"
    return (
        f"Not measured: {why}.",
        facts.size.do or to_have_seen([facts.row.name]),
    )


def _tied(facts: RowFacts) -> OpenQuestion | None:
    if not facts.size.alternatives_mm:
        return None
    values = [facts.size.measured_mm or 0.0, *facts.size.alternatives_mm]
    shown = " and ".join(f"{value:.2f}" for value in sorted(values))
    return (
        f"Places of {shown} {facts.unit} fit the sheet equally well, so it is not known which one this is.",
        f"Add a row that only the place of '{facts.row.name}' fits, such as its distance from another bore.",
    )


def _not_read(facts: RowFacts) -> OpenQuestion | None:
    if facts.wanted is not None or facts.limits is not None:
        return None
    return (
        NOT_READ,
        f"Measure '{facts.row.name}' on the original with the calliper and fill in its reading.",
    )


def _no_limits(facts: RowFacts) -> OpenQuestion | None:
    if facts.limits is not None:
        return None
    return (
        "There is no tolerance to judge it by.",
        f"Give '{facts.row.name}' a tolerance, or the sheet a general_tolerance such as 'ISO 2768-m'.",
    )


def _barely_seen(facts: RowFacts) -> OpenQuestion | None:
    do = f"Scan the part in one more orientation, with '{facts.row.name}' turned to the scanner."
    if facts.row.kind == "bore":
        arc_deg = 360.0 * facts.size.seen_share
        if arc_deg >= facts.decision.min_arc_deg - 1e-6:
            return None
        return f"Only {arc_deg:.0f} of {facts.decision.min_arc_deg:.0f} degrees of its turn were seen.", do
    if facts.size.seen_share >= facts.decision.min_seen_share:
        return None
    seen, wanted = 100 * facts.size.seen_share, 100 * facts.decision.min_seen_share
    return f"Only {seen:.0f} % of its surface was seen, and {wanted:.0f} % are wanted.", do


def _suspect(facts: RowFacts) -> OpenQuestion | None:
    if facts.corrected is None or not facts.corrected.suspect or facts.independent or facts.wanted is None:
        return None
    off = facts.corrected.corrected_mm - facts.wanted
    return (
        f"{facts.corrected.reason}: the scan says {facts.corrected.corrected_mm:.3f} mm, {off:+.3f} mm from it.",
        f"If '{facts.row.name}' reads the same again, write that as its nominal too: the scan is then judged by it.",
    )


_OBSTACLES: tuple[Callable[[RowFacts], OpenQuestion | None], ...] = (
    _not_found,
    _tied,
    _not_read,
    _no_limits,
    _barely_seen,
    _suspect,
)
