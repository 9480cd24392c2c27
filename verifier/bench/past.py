"""From the ledger's rows to the shop's past."""

from collections.abc import Sequence

from verifier.bench.history import History, ScanSeen, SizeSeen
from verifier.bench.layout import Bench
from verifier.bench.own_figures import all_figures
from verifier.learning.kept_print import KeptPrint
from verifier.remembering.past import PartPast, ScanPast, ShopPast, SizePast, SizePoint, last_changes
from verifier.remembering.scanner import ScalePoint, scanner_past
from verifier.reporting.disagreeing_told import notices
from verifier.rulebook import Rules


def shop_past(bench: Bench, history: History, rules: Rules, *, only: str | None = None) -> ShopPast:
    """Everything the ledger remembers; the newest part first.

    only : of the parts this one alone; scanner and filaments are those of the whole shop
    """
    prints, scans = history.prints(), history.scans()
    by_part: dict[str, list[ScanSeen]] = {}
    for scan in scans:
        if only in (None, scan.part):
            by_part.setdefault(scan.part, []).append(scan)
    newest_first = sorted(by_part.values(), key=lambda of_part: -of_part[-1].job)
    figures = all_figures(rules, prints)
    return ShopPast(
        root=str(bench.root),
        parts=tuple(_part(bench, each, history.sizes_of(each[-1].part), prints) for each in newest_first),
        scanner=scanner_past([(_scale(scan), scan.sha256) for scan in scans]),
        figures=figures,
        notices={f"{each.filament.name} on {each.printer.name}": notices(each) for each in figures},
    )


def part_past(bench: Bench, history: History, part: str) -> PartPast | None:
    """One part; None when none of its scans was measured."""
    scans = history.scans_of(part)
    return _part(bench, scans, history.sizes_of(part), history.prints()) if scans else None


def _part(bench: Bench, scans: Sequence[ScanSeen], sizes: Sequence[SizeSeen], prints: Sequence[KeptPrint]) -> PartPast:
    part = scans[-1].part
    days = {scan.job: scan.finished_at[:10] for scan in scans}
    pasts = _sizes(sizes, days)
    return PartPast(
        name=part,
        description=scans[-1].description,
        scans=tuple(map(_scan, scans)),
        sizes=pasts,
        prints=tuple(kept for kept in prints if kept.part == part),
        # A scan that ran twice is no second look at the part.
        changed=last_changes(pasts, sorted({scan.sha256: scan.job for scan in scans}.values())),
        page=_there(bench, scans[-1], f"{part}.report.html"),
        picture=_there(bench, scans[-1], scans[-1].picture) if scans[-1].picture.endswith(".png") else "",
    )


def _there(bench: Bench, scan: ScanSeen, name: str) -> str:
    """A file of the scan's result where it was published; '' when it is gone from there."""
    file = (bench.slicer if scan.verdict == "PASS" else bench.held / scan.part) / name
    return str(file) if file.is_file() else ""


def _scan(scan: ScanSeen) -> ScanPast:
    return ScanPast(
        job=scan.job,
        day=scan.finished_at[:10],
        verdict=scan.verdict,
        percent=100.0 * (scan.scale - 1.0),
        u_percent=100.0 * scan.u_scale,
        coat_mm=scan.coat_mm,
        u_coat_mm=scan.u_coat_mm,
        filament=scan.filament,
        shrink_xy_percent=100.0 * scan.shrink_xy,
        cost=scan.cost,
        currency=scan.currency,
    )


def _scale(scan: ScanSeen) -> ScalePoint:
    return ScalePoint(scan.job, scan.part, scan.finished_at[:10], 100.0 * (scan.scale - 1.0), 100.0 * scan.u_scale)


def _sizes(seen: Sequence[SizeSeen], days: dict[int, str]) -> tuple[SizePast, ...]:
    """Every row of the newest scan that has it, in the order of the sheet."""
    by_name: dict[str, list[SizeSeen]] = {}
    for size in seen:
        by_name.setdefault(size.name, []).append(size)
    rows = (_size(rows, days) for rows in by_name.values())
    return tuple(row for row in rows if row.points)


def _size(rows: Sequence[SizeSeen], days: dict[int, str]) -> SizePast:
    last = rows[-1]
    points = (
        SizePoint(row.job, days[row.job], row.corrected_mm, row.expanded_uncertainty_mm, row.coverage_factor)
        for row in rows
        if row.corrected_mm is not None and row.expanded_uncertainty_mm and row.coverage_factor
    )
    return SizePast(last.name, last.kind, last.wanted_mm, last.least_mm, last.greatest_mm, tuple(points))
