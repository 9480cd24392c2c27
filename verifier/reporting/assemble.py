"""From an outcome to the report: every value of the rooms into its table, with nothing worked out anew."""

from collections.abc import Iterable

from verifier.inspect import Outcome
from verifier.inspection import BoreTable, CoatTable, Inspection, ScaleTable, ScanTable
from verifier.reporting.bore_tables import bore_tables
from verifier.reporting.deviation_table import deviation_table
from verifier.reporting.feature_tables import feature_tables
from verifier.reporting.join_table import join_table
from verifier.reporting.mend_table import mend_table
from verifier.reporting.print_tables import piece_tables, print_table, reshape_tables
from verifier.reporting.size_tables import size_tables
from verifier.rulebook import Rules


def inspection_of(outcome: Outcome, rules: Rules, versions: dict[str, str]) -> Inspection:
    """The report of one outcome.

    versions : of the program and the libraries its numbers rest on
    """
    judgement, correction = outcome.judgement, outcome.correction
    bores = tuple(bore_tables(outcome, rules))
    return Inspection(
        part=outcome.sheet.part,
        description=outcome.sheet.description,
        of_print=outcome.of_print,
        verdict=judgement.verdict,
        reasons=judgement.reasons,
        next_steps=(*judgement.next_steps, *_drafted(outcome)),
        scan=_scan(outcome),
        join=join_table(outcome.joined),
        mend=mend_table(outcome.scan, outcome.solid),
        features=tuple(feature_tables(outcome.features)),
        sizes=size_tables(outcome, rules),
        scale=ScaleTable(
            factor=correction.scale.value,
            standard_uncertainty=correction.scale.u,
            applied=correction.scale.applied,
            reason=correction.scale.reason,
        ),
        coat=CoatTable(
            thickness_mm=correction.coat.value,
            standard_uncertainty_mm=correction.coat.u,
            inside_mm=correction.coat_inside.value,
            standard_uncertainty_inside_mm=correction.coat_inside.u,
            applied=correction.coat.applied,
            reason=correction.coat.reason,
            reason_inside=correction.coat_inside.reason,
        ),
        bores=bores,
        print=print_table(outcome.plan),
        reshaped=tuple(reshape_tables(outcome.plan)),
        pieces=tuple(piece_tables(outcome.plan, outcome.sheet.part)),
        deviation=deviation_table(outcome.compared),
        cautions=_cautions(rules, bores),
        sources=_sources(outcome, rules),
        seconds={stage: round(seconds, 3) for stage, seconds in outcome.seconds.items()},
        versions=versions,
    )


def _drafted(outcome: Outcome) -> tuple[str, ...]:
    """Where the sheet is that wants filling in, for a part that had none."""
    if not outcome.proposed:
        return ()
    part = outcome.sheet.part
    return (
        f"The sheet to fill in is drafted: on a bench it is rules/sheets/{part}.toml, otherwise {part}.sheet.toml "
        "beside the report. Saved, it lets a held scan go on by itself.",
    )


def _scan(outcome: Outcome) -> ScanTable:
    scan = outcome.scan
    return ScanTable(
        name=scan.source.name,
        sha256=scan.source.sha256,
        size_bytes=scan.source.size_bytes,
        format=scan.source.format,
        triangles=len(scan.mesh.faces),
        unit=scan.unit.name,
        unit_factor_mm=scan.unit.factor_mm,
        unit_known_by=scan.unit.known_by,
        notices=scan.notices,
    )


def _cautions(rules: Rules, bores: Iterable[BoreTable]) -> tuple[str, ...]:
    """What holds for every part; drilling is warned of where there is something to drill."""
    drilled = any(bore.drill_mm is not None for bore in bores)
    return tuple(caution.text for caution in rules.part_cautions if drilled or caution.about != "drilling")


def _sources(outcome: Outcome, rules: Rules) -> tuple[str, ...]:
    """Whose figures the report rests on, each once, in the order used; the sheet speaks for its own."""
    limits = (
        judged.limits_source for judged in outcome.judgement.rows if not judged.limits_source.endswith("on the sheet")
    )
    told = (
        *(("limits", source) for source in limits),
        ("decision rule", rules.acceptance.decision.source),
        ("expected scale and coat", rules.acceptance.expectation.source),
        ("shrinkage, density and price", outcome.plan.shrink_source),
        ("printer", outcome.plan.printer.source),
        *(
            (f"hole for {bore.hole.made_for}", bore.hole.source)
            for bore in outcome.plan.bores
            if not bore.hole.by_sheet
        ),
    )
    return tuple(dict.fromkeys(f"{what}: {source}" for what, source in told if source))
