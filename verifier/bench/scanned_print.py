"""What the scan of a print, PART.print.stl, says of the filament: its sizes against those of its mesh."""

from pathlib import Path

from verifier.bench.history import History
from verifier.bench.job import Job
from verifier.bench.print_entry import PrintEntry, row_entry
from verifier.bench.record import inspection_in
from verifier.inspection import Inspection
from verifier.learning.row import PrintRow, ReadRow
from verifier.rulebook.print_sheet import PRINT_ENDING


def scanned_print(folder: Path, job: Job, history: History) -> PrintEntry | None:
    """The print's readings by its scan; None without a report, or without a scan of the original to compare with.

    The newest scan that passed before it is taken for the one whose mesh was printed. The same scan dropped twice is
    one print. A nylon scanned like this counts for no figure: nothing says whether it was dry.
    """
    inspection = inspection_in(folder, job.part)
    earlier = [scan for scan in history.scans_of(job.part.removesuffix(PRINT_ENDING)) if scan.job < job.id]
    if inspection is None or not inspection.of_print or not earlier:
        return None
    scan = ([scan for scan in earlier if scan.verdict == "PASS"] or earlier)[-1]
    sizes = [size for size in history.sizes_of(scan.part) if size.job == scan.job]
    rows = {row.name: row for size in sizes if (row := size.on_print) is not None}
    read = _read(rows, inspection)
    if not read:
        return None
    return PrintEntry(
        token=f"scan {job.sha256}",
        part=scan.part,
        job=scan.job,
        filament=scan.filament,
        printer=scan.printer,
        condition=None,
        u_scale=inspection.scale.standard_uncertainty,
        rows=tuple(map(row_entry, read)),
    )


def _read(rows: dict[str, PrintRow], inspection: Inspection) -> list[ReadRow]:
    """The rows that the scan measured on the print."""
    # Half a second of libraries that the service needs for nothing else, and prints are scanned seldom.
    from verifier.comparing.print_sizes import print_sizes

    found = print_sizes(inspection)
    return [ReadRow(rows[size.name], size.measured_mm, size.u_mm) for size in found if size.name in rows]
