"""The shop's past for the terminal."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import RenderableType
from rich.text import Text

from verifier.learning.advice import as_told_with_u
from verifier.learning.figures import Figures
from verifier.learning.terms import TERMS
from verifier.remembering.control_chart import FEWEST_VALUES
from verifier.remembering.past import PartPast, ShopPast
from verifier.remembering.scanner import ScannerPast
from verifier.reporting.columns import Columns, column_lines, dashed, titled
from verifier.reporting.drawn_run import draw_run
from verifier.reporting.size_lines import Clean, hanging
from verifier.reporting.words import figure
from verifier.rulebook.size_kinds import IN_DEGREES

# Enough to see what goes on; the page and the CSV have all of them.
SHOWN_PARTS, SHOWN_SCANS = 40, 12


def shop_parts(past: ShopPast, width: int, clean: Clean, *, ascii_only: bool) -> list[RenderableType]:
    """The shop's parts, its scanner and its filaments."""
    return [
        Text(),
        hanging("", Text(clean(f"{Path(past.root).name}: {_counted(len(past.parts), 'part')}"), style="bold"), 1),
        Text(),
        *column_lines(_parts(past), width, clean),
        *dashed(_rest(len(past.parts), SHOWN_PARTS, "part"), clean, "dim"),
        *titled("Scanner", scanner_lines(past.scanner, width, clean, ascii_only=ascii_only)),
        *titled("Filaments", column_lines(_filaments(past.figures), width, clean) if past.figures else []),
        *titled("Does not fit", dashed(_notices(past), clean, "yellow")),
    ]


def _parts(past: ShopPast) -> Columns:
    rows = tuple(
        (
            part.name,
            part.last.verdict,
            part.last.day,
            str(len(part.scans)),
            str(len(part.prints)),
            part.last.filament,
            " ".join(_remarks(part, past.root)),
        )
        for part in past.parts[:SHOWN_PARTS]
    )
    heads = ("part", "verdict", "last scan", "scans", "prints", "filament", "see")
    return Columns(heads, rows, frozenset({"part", "verdict", "last scan", "filament", "see"}))


def _remarks(part: PartPast, root: str) -> Iterator[str]:
    """What changed, and in which folder of the bench the page with its picture lies."""
    real = [change.name for change in part.changed if change.real]
    if real:
        yield f"Changed since the scan before: {', '.join(real)}."
    if part.page:
        folder = Path(part.page).parent
        yield str(folder.relative_to(root) if folder.is_relative_to(root) else folder)


def _rest(many: int, shown: int, what: str) -> list[str]:
    hidden = many - shown
    return [f"and {_counted(hidden, f'earlier {what}')}; all of them: --page or --csv"] if hidden > 0 else []


def _counted(many: int, what: str) -> str:
    return f"{many} {what}{'' if many == 1 else 's'}"


def _notices(past: ShopPast) -> list[str]:
    return [f"{where}: {line}" for where, lines in past.notices.items() for line in lines]


def scanner_lines(past: ScannerPast, width: int, clean: Clean, *, ascii_only: bool) -> list[RenderableType]:
    """Its scale from scan to scan, its limits, and whether it has moved."""
    if not past.points:
        return dashed(["No scan has told its scale yet: that takes a sheet with readings of several kinds."], clean)
    values = [point.percent for point in past.points]
    room = max(10, width - 12)
    chart = past.chart
    limits = None if chart is None else (chart.lower, chart.upper)
    lines: list[RenderableType] = [hanging("   ", draw_run(values[-room:], limits, ascii_only=ascii_only), 3)]
    last = past.points[-1]
    told = [f"Last: {last.percent:+.2f} % ± {2 * last.u_percent:.2f} % ({last.part}, {last.day})."]
    if chart is None:
        told.append(f"Limits are drawn from {FEWEST_VALUES} scans on; so far {len(values)} told the scale.")
    else:
        told.append(
            f"Usual: {chart.lower:+.2f} to {chart.upper:+.2f} %, about {chart.centre:+.2f} %, by the first"
            f" {chart.base} scans (three sigma, ISO 7870-2)."
        )
        told += [] if past.warning else ["It has not moved."]
    if past.left_out:
        told.append(f"Left out, for they could not tell the scale surely: {_counted(past.left_out, 'scan')}.")
    return [*lines, *dashed(told, clean), *dashed([past.warning] if past.warning else [], clean, "bold yellow")]


def _filaments(figures: Sequence[Figures]) -> Columns:
    rows = tuple(
        (
            each.filament.name,
            each.printer.name,
            str(len(each.prints)),
            *(
                as_told_with_u(name, known.pooled.value, known.pooled.half_width)
                if (known := each.known[name]).used and known.pooled
                else "rules"
                for name in TERMS
            ),
        )
        for each in figures
    )
    heads = ("filament", "printer", "prints", "in the plane", "upwards", "holes lose", "walls proud")
    return Columns(heads, rows, frozenset({"filament", "printer"}))


def part_parts(past: PartPast, width: int, clean: Clean, *, ascii_only: bool) -> list[RenderableType]:
    """One part: its scans, its sizes from scan to scan, what changed, its prints."""
    about = f" – {past.description}" if past.description else ""
    return [
        Text(),
        hanging("", Text(clean(past.name + about), style="bold"), 1),
        Text(),
        *column_lines(_scans(past), width, clean),
        *dashed(_rest(len(past.scans), SHOWN_SCANS, "scan"), clean, "dim"),
        *titled("Sizes from scan to scan, mm", column_lines(_sizes(past, width, ascii_only=ascii_only), width, clean)),
        *titled("Between the last two scans", dashed(_changed(past), clean)),
        *titled("Prints", column_lines(_prints(past), width, clean) if past.prints else []),
        *titled("See", dashed([past.page] if past.page else [], clean)),
    ]


def _scans(past: PartPast) -> Columns:
    rows = tuple(
        (
            str(scan.job),
            scan.day,
            f"{scan.percent:+.2f} ± {2 * scan.u_percent:.2f} %",
            f"{scan.coat_mm:.3f} ± {2 * scan.u_coat_mm:.3f}",
            scan.filament,
            f"{scan.cost:.2f} {scan.currency}",
            scan.verdict,
        )
        for scan in past.scans[-SHOWN_SCANS:]
    )
    heads = ("scan", "day", "scanner large by", "powder, mm", "filament", "cost", "verdict")
    return Columns(heads, rows, frozenset({"day", "filament", "verdict"}))


def _sizes(past: PartPast, width: int, *, ascii_only: bool) -> Columns:
    if len(past.scans) == 1:
        return _sizes_once(past)
    rows = []
    for size in past.sizes:
        first, last = size.points[0], size.points[-1]
        limits = None if size.least is None or size.greatest is None else (size.least, size.greatest)
        run = draw_run([point.value for point in size.points[-width // 5 :]], limits, ascii_only=ascii_only)
        several = len(size.points) > 1
        rows.append(
            (
                size.name,
                figure(size.wanted),
                figure(first.value) if several else "",
                figure(last.value),
                f"{last.expanded_u:.3f}",
                figure(last.value - first.value, signed=True) if several else "",
                run.plain if several else "",
            )
        )
    heads = ("size", "wanted", "first", "last", "±", "since", "from scan to scan")
    return Columns(heads, tuple(rows), frozenset({"size", "from scan to scan"}))


def _sizes_once(past: PartPast) -> Columns:
    rows = tuple(
        (size.name, size.kind, figure(size.wanted), figure(point.value), f"{point.expanded_u:.3f}")
        for size in past.sizes
        for point in size.points
    )
    return Columns(("size", "kind", "wanted", "measured", "±"), rows, frozenset({"size", "kind"}))


def _changed(past: PartPast) -> list[str]:
    if not past.changed:
        return []
    real = [
        f"{change.name}: {change.by:+.3f} ± {change.expanded_u:.3f}{_unit(change.kind)}, {change.meaning}."
        for change in past.changed
        if change.real
    ]
    return real or [f"None of {_counted(len(past.changed), 'size')} changed by more than chance does."]


def _unit(kind: str) -> str:
    return "°" if kind in IN_DEGREES else " mm"


def _prints(past: PartPast) -> Columns:
    rows = tuple(
        (
            str(kept.number),
            kept.entered_at[:10],
            kept.filament,
            kept.printer,
            str(len(kept.rows)),
            f"{max((abs(each.read_mm - each.row.expected_mm) for each in kept.rows), default=0.0):.3f}",
            kept.condition or "",
        )
        for kept in past.prints[-SHOWN_SCANS:]
    )
    heads = ("print", "entered", "filament", "printer", "sizes", "most off, mm", "")
    return Columns(heads, rows, frozenset({"entered", "filament", "printer", ""}))
