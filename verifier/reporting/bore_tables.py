"""From the bores found and rebuilt to their rows of the report."""

from collections.abc import Iterable

from verifier.correcting import BoreOnPrint, bores_on_print
from verifier.correcting.bores import RebuiltBore
from verifier.correcting.bores_seat import SeatCut
from verifier.inspect import Outcome
from verifier.inspection import BoreTable, SeatTable
from verifier.rulebook import Rules, SheetRow

# A print is not printed again.
NOT_OF_A_PRINT = {"note": "", "printed_diameter_mm": None, "printed_expanded_uncertainty_mm": None, "drill_mm": None}


def bore_tables(outcome: Outcome, rules: Rules) -> Iterable[BoreTable]:
    """A row for every bore found: what it is for, how it comes out on the print, what to drill."""
    for found in bores_on_print(outcome.features, outcome.correction, outcome.plan):
        table = _bore(found, outcome, rules)
        yield table.model_copy(update=NOT_OF_A_PRINT) if outcome.of_print else table


def _bore(found: BoreOnPrint, outcome: Outcome, rules: Rules) -> BoreTable:
    bore, name = found.bore, found.bore.name
    row = _row_of(name, outcome)
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
        seat=None if found.rebuilt is None or found.rebuilt.seat is None else _seat(found.rebuilt, found.rebuilt.seat),
    )


def _row_of(bore: str, outcome: Outcome) -> SheetRow | None:
    """The row a bore is listed under; of equal ones the first under the first, so that all are listed."""
    pairs = zip(outcome.sheet.rows, outcome.sizes, strict=True)
    own = [(row, size) for row, size in pairs if row.kind == "bore" and bore in (size.set_features or size.features)]
    if not own:
        return None
    equal = own[0][1].set_features
    place = equal.index(bore) if bore in equal else 0
    return own[min(place, len(own) - 1)][0]


def _seat(bore: RebuiltBore, cut: SeatCut) -> SeatTable:
    return SeatTable(
        form=cut.seat.form,
        face=cut.face,
        across_mm=cut.seat.across_mm,
        deep_mm=cut.deep_mm,
        left_mm=bore.depth_mm or 0.0,
        screw=cut.seat.screw,
        source=cut.seat.source,
    )


def _of_drilling(rules: Rules, outcome: Outcome) -> Iterable[str]:
    """The cautions of drilling that hold for this filament."""
    polymer = outcome.plan.filament.polymer
    return (
        caution.text
        for caution in rules.cautions
        if caution.about == "drilling" and (not caution.polymers or polymer in caution.polymers)
    )
