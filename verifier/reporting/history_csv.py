"""The past as CSV: a row a size a scan, for a spreadsheet."""

import csv
import io
from collections.abc import Iterable

from verifier.bench.history import ScanSeen, SizeSeen
from verifier.reporting.as_csv import harmless

SCAN_COLUMNS = (
    "part", "job", "finished_at", "verdict", "scan_name", "sha256", "scale", "u_scale", "coat_mm", "u_coat_mm",
    "filament", "printer",
)  # fmt: skip
SIZE_COLUMNS = (
    "name", "kind", "reading_mm", "nominal_mm", "least_mm", "greatest_mm", "measured_mm", "corrected_mm",
    "expanded_uncertainty_mm", "coverage_factor", "printed_mm",
)  # fmt: skip
COLUMNS = (*SCAN_COLUMNS, *SIZE_COLUMNS, "size_verdict")


def render(scans: Iterable[tuple[ScanSeen, Iterable[SizeSeen]]]) -> str:
    """The table with a head line, by RFC 4180; an empty field where nothing was measured."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    for scan, sizes in scans:
        about = [getattr(scan, column) for column in SCAN_COLUMNS]
        for size in sizes:
            row = [*about, *(getattr(size, column) for column in SIZE_COLUMNS), size.verdict]
            writer.writerow([harmless(value) for value in row])
    return out.getvalue()
