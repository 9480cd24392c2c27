"""One part from scan to outcome: every room once, in the order the data travels, and nothing else."""

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

import numpy as np

from verifier.comparing.changes import Seen
from verifier.comparing.compared import Compared, compare
from verifier.comparing.reference import Reference
from verifier.correcting import (
    PrintPlan,
    choose_resting,
    copied_features,
    enlargement,
    load_direction,
    plan_print,
    rebuild_bores,
    reshape,
    separate_scale_from_coat,
    true_copy,
    trued_holes,
    upright_bores,
)
from verifier.correcting.correction import Correction
from verifier.errors import CannotJoin, CannotMend
from verifier.finding import find_features
from verifier.finding.feature import Features
from verifier.joining import JoinReport, join
from verifier.joining.dots.taking_off import faces_at
from verifier.joining.laid_together import laid_beside
from verifier.joining.views import SAME_PART_DO
from verifier.judging import Judgement, judge
from verifier.judging.of_print import steps_of_print
from verifier.measuring import ProposedRow, measure, propose_rows
from verifier.measuring.kinds import KINDS
from verifier.measuring.size import Size
from verifier.mending import mend
from verifier.mending.solid import Origin, Solid
from verifier.reading.scan import Scan
from verifier.rulebook import Making, Rules, Sheet, SheetRow, making_of
from verifier.rulebook.print_sheet import is_print

StageReport = Callable[[str], None]


@dataclass(slots=True)
class StageClock:
    """Tells which stage begins, and keeps how long each took.

    report : called with the stage's name when it begins
    seconds : stage -> seconds, filled as the stages end
    """

    report: StageReport
    seconds: dict[str, float] = field(default_factory=dict)

    @contextmanager
    def stage(self, name: str) -> Iterator[None]:
        """Time what happens inside."""
        self.report(name)
        begin = time.perf_counter()
        yield
        self.seconds[name] = time.perf_counter() - begin


@dataclass(frozen=True, slots=True)
class Outcome:
    """All that is known of one part when the last room has been left.

    scan, solid, copy : as read, as mended, and with scale and coat taken off and the bores rebuilt
    proposed : sizes worth measuring, for a part without a sheet; empty otherwise
    compared : the true copy, its bores not yet rebuilt, with its reference; None where there is none
    joined : how the scan was made of several; None for a single one
    """

    scan: Scan
    sheet: Sheet
    solid: Solid
    features: Features
    sizes: tuple[Size, ...]
    correction: Correction
    copy: Solid
    plan: PrintPlan
    judgement: Judgement
    proposed: tuple[ProposedRow, ...]
    seconds: dict[str, float]
    compared: Compared | None = None
    joined: JoinReport | None = None

    @property
    def of_print(self) -> bool:
        """Whether it is a print that was scanned: there is nothing to be printed from that."""
        return is_print(self.sheet.part)


def made_one(
    scans: Sequence[Scan], sheet: Sheet | None, rules: Rules, clock: StageClock
) -> tuple[Scan, JoinReport | None]:
    """The scan to inspect: the only one, or several joined, and how.

    Raises CannotJoin, RuleMistake.
    """
    if len(scans) == 1:
        return scans[0], None
    with clock.stage("joining"):
        joined = join(scans, sheet, rules)
    return joined.scan, joined.report


def mended(scan: Scan, joined: JoinReport | None) -> tuple[Solid, JoinReport | None]:
    """Mend the scan; scans whose seam cannot be closed (a knife rim's) are mended as they lie, with no seam to tell of.

    Raises CannotMend when that fails too, CannotJoin where the scans may not belong together so.
    """
    try:
        return _with_something_measured(scan, _marked(mend(scan), joined)), joined
    except CannotMend:
        if joined is None or not joined.posed:
            raise
    try:
        beside = mend(replace(scan, mesh=laid_beside(joined.posed)))
    except CannotMend as error:
        if joined.placing.sure:
            raise
        raise _ill_joined(joined) from error
    return _with_something_measured(scan, _marked(beside, joined)), replace(joined, seam=None, seam_at_mm=None)


def _ill_joined(joined: JoinReport) -> CannotJoin:
    """What is to be said of scans that make no closed part as they were put together, and not for sure."""
    why = joined.placing.why.rstrip(".")
    return CannotJoin(
        f"they make no closed part as they were put together, and may not belong so. {why}",
        where=", ".join(joined.scans),
        do=SAME_PART_DO,
    )


def _marked(solid: Solid, joined: JoinReport | None) -> Solid:
    """The solid with the faces that a join made in the place of marker dots told from those that were measured."""
    if joined is None or len(joined.dots_at) == 0:
        return solid
    made = faces_at(solid.mesh, joined.dots_at) & (solid.origin == Origin.MEASURED)
    return replace(solid, origin=np.where(made, np.uint8(Origin.FILLED), solid.origin))


def with_dots_measured(solid: Solid, joined: JoinReport | None) -> Solid:
    """The solid with nothing unseen beneath marker dots: whoever stuck them on knows that no bore is there."""
    if joined is None or len(joined.dots_at) == 0:
        return solid
    beneath = faces_at(solid.mesh, joined.dots_at)
    return replace(solid, origin=np.where(beneath, np.uint8(Origin.MEASURED), solid.origin))


def inspect_part(
    scan: Scan,
    sheet: Sheet | None,
    rules: Rules,
    *,
    part: str,
    filament: str | None = None,
    reference: Reference | None = None,
    clock: StageClock | None = None,
    joined: JoinReport | None = None,
) -> Outcome:
    """Mend, measure, correct and judge one scan.

    sheet : None for a part nobody has measured yet; the sizes worth measuring are then proposed
    filament : a name of the rules, in place of the sheet's
    reference : what the corrected mesh is compared with
    joined : how the scan was made of several
    Raises CannotMend, UnknownName.
    """
    clock = clock or StageClock(report=lambda _: None)
    making = making_of(sheet or Sheet(part=part), rules, filament)
    with clock.stage("mending"):
        solid, joined = mended(scan, joined)
    with clock.stage("finding"):
        features = find_features(solid)
    with clock.stage("measuring"):
        proposed = propose_rows(features) if sheet is None else ()
        known = sheet or Sheet(part=part, size=tuple(_row(row) for row in proposed))
        sizes = tuple(_size(row) for row in proposed) if sheet is None else measure(features, known, rules)
    with clock.stage("correcting"):
        correction = separate_scale_from_coat(sizes, known, rules, features.noise)
        copy = true_copy(solid, correction, features)
    compared = None
    if reference is not None:
        with clock.stage("comparing"):
            doubts = (correction.scale.u, correction.coat.u, correction.coat_inside.u)
            seen = Seen(copied_features(features, correction), *doubts)
            compared = compare(copy, seen, reference)
    plan, printed = _planned(copy, features, sizes, correction, known, rules, making, clock)
    with clock.stage("judging"):
        of_print = is_print(known.part)
        # A print shrinks no more, so nothing is foretold of its sizes.
        known_to_be_smooth = with_dots_measured(solid, joined)
        judgement = judge(
            sizes, correction, known, rules, known_to_be_smooth, None if of_print else plan, scan.unit, joined
        )
        if of_print:
            judgement = steps_of_print(judgement, known)
    return Outcome(
        scan=scan,
        sheet=known,
        solid=solid,
        features=features,
        sizes=sizes,
        correction=correction,
        copy=printed,
        plan=plan,
        judgement=judgement,
        proposed=proposed,
        seconds=dict(clock.seconds),
        compared=compared,
        joined=joined,
    )


def _with_something_measured(scan: Scan, solid: Solid) -> Solid:
    """The solid; raises CannotMend where no face of it is the scan's, so that there is nothing to measure."""
    if (solid.origin == Origin.MEASURED).any():
        return solid
    raise CannotMend(
        "its surface crosses itself so often that all of it had to be made anew, and nothing is left to measure",
        where=scan.source.name,
        do="Scan the part again with one more orientation, and export a single merged mesh",
    )


def _planned(
    copy: Solid,
    features: Features,
    sizes: Sequence[Size],
    correction: Correction,
    sheet: Sheet,
    rules: Rules,
    making: Making,
    clock: StageClock,
) -> tuple[PrintPlan, Solid]:
    """From the true copy to the plan of its print, and the copy with bores rebuilt and reshaped as the sheet asks."""
    polymer, printer = making.filament, making.printer
    with clock.stage("rebuilding bores"):
        holes = making.holes | trued_holes(sheet, correction)
        load = load_direction(sheet, features, sizes)
        resting = choose_resting(copy, features, sheet, printer, load)
        up = resting.turn[2]
        work = rebuild_bores(copy, features, sizes, holes, correction, printer, upright_bores(features, up))
    with clock.stage("reshaping"):
        reshaping = reshape(
            work.solid, work.of_copy, features, sizes, correction, sheet, printer, up, enlargement(polymer)
        )
    with clock.stage("planning the print"):
        plan = plan_print(work.solid, features, sheet, rules, polymer, printer, work.bores, resting, reshaping)
    return plan, reshaping.solid


def _row(row: ProposedRow) -> SheetRow:
    """A proposed size as a row of the sheet that is still to be filled in."""
    return SheetRow(name=row.name, kind=row.kind, between=row.between, of=row.of, along=row.along, through=row.through)


def _size(row: ProposedRow) -> Size:
    """A proposed size as measured on the scan."""
    walls = KINDS[row.kind].walls
    return Size(row.name, row.measured_mm, row.u_mm, walls, features=row.features, points_mm=row.points_mm)
