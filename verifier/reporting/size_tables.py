"""From the sizes measured and judged to their rows of the report."""

import numpy as np

from verifier.correcting.bores import made_anew_with
from verifier.inspect import Outcome
from verifier.inspection import SizeTable
from verifier.judging import RowJudgement
from verifier.measuring.size import Size
from verifier.reporting.points import as_point
from verifier.rulebook import Rules, SheetRow, reading_of


def size_tables(outcome: Outcome, rules: Rules) -> tuple[SizeTable, ...]:
    """A row for every row of the sheet, in its order."""
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
        printed_doubt=judged.printed_doubt,
        reshaped_by_mm=round(judged.reshaped_by, 9),
        smallest_error_mm=_finite(smallest_error_mm),
        seen_share=size.seen_share if size.measured_mm is not None else None,
        set_size=size.set_size,
        walls=size.walls,
        features=size.features,
        points_mm=tuple(as_point(point) for point in size.points_mm),
        verdict=judged.verdict,
        remark=_remark(size, outcome),
        reason=judged.reason,
    )


def _remark(size: Size, outcome: Outcome) -> str:
    """What to know of a measured value: that the copy has another one, or how sure its place is."""
    bore = made_anew_with(size, outcome.plan.bores)
    if bore is not None:
        return f"made anew with '{bore.row}'" if bore.hole.seat is not None else f"filled with '{bore.row}'"
    return size.reason if size.measured_mm is not None and size.set_size == 1 else ""


def _finite(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else float(value)
