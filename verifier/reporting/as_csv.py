"""The sizes of one inspection as CSV, a row a size, for a spreadsheet."""

import csv
import io

from verifier.inspection import Inspection, SizeTable

# What the report's keys hold that a spreadsheet can add up or draw; lengths in mm, angles in degrees.
COLUMNS = (
    "name",
    "kind",
    "verdict",
    "reading_mm",
    "nominal_mm",
    "least_mm",
    "greatest_mm",
    "measured_mm",
    "corrected_mm",
    "deviation_mm",
    "expanded_uncertainty_mm",
    "printed_mm",
    "printed_expanded_uncertainty_mm",
    "printed_verdict",
    "reason",
)


def render(inspection: Inspection) -> str:
    """The table with a head line, by RFC 4180; an empty field where the report has nothing."""
    out = io.StringIO()
    writer = csv.DictWriter(out, COLUMNS, extrasaction="ignore")
    writer.writeheader()
    writer.writerows(_row(size) for size in inspection.sizes)
    return out.getvalue()


def _row(size: SizeTable) -> dict[str, object]:
    least, greatest = size.tolerance_mm or (None, None)
    told = size.model_dump() | {"least_mm": least, "greatest_mm": greatest}
    return {column: harmless(told[column]) for column in COLUMNS}


def harmless(value: object) -> object:
    """A text that a spreadsheet would take for a formula is set off by an apostrophe, as spreadsheets themselves do."""
    return f"'{value}" if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r") else value
