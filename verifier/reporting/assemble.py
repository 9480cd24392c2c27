"""From an outcome to the report: every value of the rooms into its table, with nothing worked out anew."""

from collections.abc import Iterable

import numpy as np

from verifier.correcting import BoreOnPrint, bores_on_print
from verifier.finding.feature import Cylinder, Extent, Plane, Slot
from verifier.inspect import Outcome
from verifier.inspection import (
    BoreTable,
    CoatTable,
    FeatureTable,
    Inspection,
    MendStepTable,
    MendTable,
    PieceTable,
    Point,
    PrintCheckTable,
    PrintTable,
    ReshapeTable,
    ScaleTable,
    ScanTable,
    SizeTable,
    UnseenTable,
)
from verifier.judging import RowJudgement
from verifier.measuring.size import Size
from verifier.mending.changes import size_changes
from verifier.mending.unseen import Unseen, unseen_places
from verifier.mesh import Array, extents_mm
from verifier.reporting.assemble_join import join_table
from verifier.reporting.deviation_table import deviation_table
from verifier.rulebook import Rules, SheetRow, reading_of

# A print is not printed again.
NOT_OF_A_PRINT = {"note": "", "printed_diameter_mm": None, "printed_expanded_uncertainty_mm": None, "drill_mm": None}
# Filled places narrower than this are pinholes, and counted only: a scan has hundreds.
UNSEEN_FROM_MM = 1.0


def inspection_of(outcome: Outcome, rules: Rules, versions: dict[str, str]) -> Inspection:
    """The report of one outcome.

    versions : of the program and the libraries its numbers rest on
    """
    judgement, correction = outcome.judgement, outcome.correction
    bores = tuple(_bores(outcome, rules))
    return Inspection(
        part=outcome.sheet.part,
        description=outcome.sheet.description,
        of_print=outcome.of_print,
        verdict=judgement.verdict,
        reasons=judgement.reasons,
        next_steps=(*judgement.next_steps, *_drafted(outcome)),
        scan=_scan(outcome),
        join=join_table(outcome.joined),
        mend=_mend(outcome),
        features=tuple(_features(outcome)),
        sizes=_sizes(outcome, rules),
        scale=ScaleTable(
            factor=correction.scale.value,
            standard_uncertainty=correction.scale.u,
            applied=correction.scale.applied,
            reason=correction.scale.reason,
        ),
        coat=CoatTable(
            thickness_mm=correction.coat.value,
            standard_uncertainty_mm=correction.coat.u,
            applied=correction.coat.applied,
            reason=correction.coat.reason,
        ),
        bores=bores,
        print=_print(outcome),
        reshaped=tuple(_reshaped(outcome)),
        pieces=tuple(_pieces(outcome)),
        deviation=deviation_table(outcome.reference, outcome.deviation),
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


def _mend(outcome: Outcome) -> MendTable:
    solid = outcome.solid
    steps = (
        MendStepTable(
            what=step.what,
            count=step.count,
            area_mm2=step.area_mm2,
            largest_mm=step.largest_mm,
            places_mm=step.places_mm,
            sizes_mm=step.sizes_mm,
        )
        for step in solid.steps
    )
    return MendTable(
        closed=True,  # the mending room lets nothing else out: it raises CannotMend
        volume_mm3=solid.volume_mm3,
        area_mm2=solid.area_mm2,
        extents_mm=_point(extents_mm(solid.mesh)),
        triangles=len(solid.mesh.faces),
        filled_share=solid.filled_share,
        bodies=solid.bodies,
        steps=tuple(steps),
        unseen=tuple(map(_unseen, unseen_places(solid, UNSEEN_FROM_MM))),
        size_changes=size_changes(outcome.scan.mesh, solid),
    )


def _unseen(place: Unseen) -> UnseenTable:
    return UnseenTable(
        at_mm=_point(place.at_mm),
        length_mm=place.length_mm,
        width_mm=place.width_mm,
        area_mm2=place.area_mm2,
        seen_from=_point(place.seen_from),
    )


def _features(outcome: Outcome) -> Iterable[FeatureTable]:
    found = outcome.features
    yield from map(_plane, found.planes)
    yield from map(_cylinder, found.cylinders)
    yield from map(_slot, found.slots)
    yield from map(_extent, found.extents)


def _plane(plane: Plane) -> FeatureTable:
    return FeatureTable(
        name=plane.name,
        kind="plane",
        centre_mm=_point(plane.centre_mm),
        direction=_point(plane.normal),
        size_mm=None,
        u_size_mm=plane.u_offset_mm,
        form_error_mm=plane.form_error_mm,
        area_mm2=plane.area_mm2,
        rms_mm=plane.rms_mm,
    )


def _cylinder(cylinder: Cylinder) -> FeatureTable:
    return FeatureTable(
        name=cylinder.name,
        kind=cylinder.kind,
        centre_mm=_point(cylinder.axis_point_mm),
        direction=_point(cylinder.axis),
        size_mm=cylinder.diameter_mm,
        u_size_mm=cylinder.u_diameter_mm,
        form_error_mm=cylinder.form_error_mm,
        pin_diameter_mm=cylinder.pin_diameter_mm,
        arc_deg=cylinder.arc_deg,
        depth_mm=cylinder.depth_mm,
        through=cylinder.through,
        rms_mm=cylinder.rms_mm,
        axis_held=cylinder.axis_held,
    )


def _slot(slot: Slot) -> FeatureTable:
    return FeatureTable(
        name=slot.name,
        kind="slot",
        centre_mm=_point(slot.centre_mm),
        direction=_point(slot.axis),
        size_mm=slot.width_mm,
        u_size_mm=slot.u_width_mm,
        length_mm=slot.length_mm,
        u_length_mm=slot.u_length_mm,
        form_error_mm=slot.form_error_mm,
        depth_mm=slot.depth_mm,
        rms_mm=slot.rms_mm,
    )


def _extent(extent: Extent) -> FeatureTable:
    return FeatureTable(
        name=extent.name,
        kind="extent",
        centre_mm=_point(extent.ends_mm.mean(axis=0)),
        direction=_point(extent.direction),
        size_mm=extent.length_mm,
        u_size_mm=extent.u_length_mm,
    )


def _sizes(outcome: Outcome, rules: Rules) -> tuple[SizeTable, ...]:
    found = zip(outcome.sheet.rows, outcome.sizes, outcome.judgement.rows, strict=True)
    weakest = {corrected.name: corrected.smallest_error_mm for corrected in outcome.correction.sizes}
    return tuple(_size(row, size, judged, weakest.get(row.name), outcome, rules) for row, size, judged in found)


def _size(
    row: SheetRow, size: Size, judged: RowJudgement, smallest_error_mm: float | None, outcome: Outcome, rules: Rules
) -> SizeTable:
    reading = reading_of(row, outcome.sheet, rules)
    return SizeTable(
        name=row.name,
        kind=row.kind,
        required=row.required,
        reading_mm=reading.value if reading and row.reading is not None else None,
        nominal_mm=row.nominal,
        tolerance_mm=judged.limits,
        tolerance_source=judged.limits_source,
        one_sided=judged.one_sided,
        measured_mm=size.measured_mm,
        u_measured_mm=size.u_mm if size.measured_mm is not None else None,
        corrected_mm=judged.corrected,
        deviation_mm=judged.deviation,
        expanded_uncertainty_mm=judged.expanded_u,
        coverage_factor=judged.coverage_factor,
        printed_mm=judged.printed,
        printed_expanded_uncertainty_mm=judged.printed_expanded_u,
        printed_verdict=judged.printed_verdict,
        reshaped_by_mm=round(judged.reshaped_by, 9),
        smallest_error_mm=_finite(smallest_error_mm),
        seen_share=size.seen_share if size.measured_mm is not None else None,
        set_size=size.set_size,
        walls=size.walls,
        features=size.features,
        points_mm=tuple(_point(point) for point in size.points_mm),
        verdict=judged.verdict,
        remark=size.reason if size.measured_mm is not None and size.set_size == 1 else "",
        reason=judged.reason,
    )


def _bores(outcome: Outcome, rules: Rules) -> Iterable[BoreTable]:
    for found in bores_on_print(outcome.features, outcome.correction, outcome.plan):
        table = _bore(found, outcome, rules)
        yield table.model_copy(update=NOT_OF_A_PRINT) if outcome.of_print else table


def _bore(found: BoreOnPrint, outcome: Outcome, rules: Rules) -> BoreTable:
    bore, name = found.bore, found.bore.name
    own = {size.name for size in outcome.sizes if size.features == (name,) or name in size.set_features}
    row = next((each for each in outcome.sheet.rows if each.kind == "bore" and each.name in own), None)
    return BoreTable(
        name=name,
        row=None if row is None else row.name,
        diameter_mm=bore.diameter_mm,
        pin_diameter_mm=bore.pin_diameter_mm,
        roundness_mm=bore.form_error_mm,
        arc_deg=bore.arc_deg,
        depth_mm=bore.depth_mm,
        through=bore.through,
        note=found.note,
        use=None if row is None else row.use or "keep",
        screw=None if row is None else row.screw,
        made_for="" if found.rebuilt is None else found.rebuilt.hole.made_for,
        rebuilt=found.rebuilt is not None and found.rebuilt.made,
        upright=name in outcome.plan.upright_bores,
        printed_diameter_mm=found.printed_mm,
        printed_expanded_uncertainty_mm=(
            None if found.u_mm is None else rules.acceptance.decision.coverage_factor * found.u_mm
        ),
        drill_mm=found.drill_mm,
        caution=" ".join(_of_drilling(rules, outcome)) if found.is_filled else "",
    )


def _of_drilling(rules: Rules, outcome: Outcome) -> Iterable[str]:
    """The cautions of drilling that hold for this filament."""
    polymer = outcome.plan.filament.polymer
    return (
        caution.text
        for caution in rules.cautions
        if caution.about == "drilling" and (not caution.polymers or polymer in caution.polymers)
    )


def _reshaped(outcome: Outcome) -> Iterable[ReshapeTable]:
    told = () if outcome.plan.reshaping is None else outcome.plan.reshaping.told
    for each in told:
        yield ReshapeTable(
            do=each.wanted.do,
            made=each.made,
            said=each.said,
            why_not=each.why_not,
            before_mm=each.before_mm,
            after_mm=each.after_mm,
            before_mm3=each.before_mm3,
            after_mm3=each.after_mm3,
            faces=each.faces,
        )


def _pieces(outcome: Outcome) -> Iterable[PieceTable]:
    for plan in outcome.plan.pieces:
        yield PieceTable(
            name=plan.name,
            file=piece_file(outcome.sheet.part, plan.name),
            size_mm=plan.size_mm,
            fits_bed=plan.fits_bed,
            volume_mm3=plan.piece.solid.volume_mm3,
            mass_g=plan.mass_g,
            cost=plan.cost,
        )


def piece_file(part: str, piece: str, ending: str = ".3mf") -> str:
    """'seat_armrest.piece_1_of_2.3mf'."""
    return f"{part}.{piece.replace(' ', '_')}{ending}"


def _cautions(rules: Rules, bores: Iterable[BoreTable]) -> tuple[str, ...]:
    """What holds for every part; drilling is warned of where there is something to drill."""
    drilled = any(bore.drill_mm is not None for bore in bores)
    return tuple(caution.text for caution in rules.part_cautions if drilled or caution.about != "drilling")


def _print(outcome: Outcome) -> PrintTable:
    plan = outcome.plan
    return PrintTable(
        filament=plan.filament.name,
        polymer=plan.filament.polymer,
        printer=plan.printer.name,
        shrink_xy=plan.shrink_xy,
        shrink_z=plan.shrink_z,
        u_shrink_xy=plan.u_shrink_xy,
        u_shrink_z=plan.u_shrink_z,
        shrink_source=plan.shrink_source,
        hole_allowance_mm=plan.printer.hole_allowance_mm,
        build_direction=_point(plan.build_direction),
        rests_on=plan.rests_on,
        rests_why=plan.rests_why,
        checks=tuple(
            PrintCheckTable(
                name=check.name,
                fine=check.fine,
                says=check.says,
                value=check.value,
                limit=check.limit,
                place_mm=check.place_mm,
            )
            for check in plan.checks
        ),
        size_mm=plan.size_mm,
        fits_bed=plan.fits_bed,
        pieces=len(plan.pieces) or 1,
        mass_g=plan.mass_g,
        filament_m=plan.filament_m,
        cost=plan.cost,
        currency=plan.currency,
        price_source=plan.price_source,
        notes=plan.notes,
        cautions=plan.cautions,
    )


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


def _point(vector: Array) -> Point:
    x, y, z = (float(value) for value in vector)
    return x, y, z


def _finite(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)
