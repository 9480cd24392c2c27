"""The command `printed`: a finished print's readings go in, and what they say comes out."""

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import typer

from verifier.bench.asking import ask_bench
from verifier.bench.history import History, ScanSeen, SizeSeen
from verifier.bench.layout import Bench, open_bench
from verifier.bench.print_entry import PrintEntry, row_entry
from verifier.bench.requests import EnterPrint, UndoPrint
from verifier.bench.status import history_of
from verifier.errors import UnknownName, WrongUsage
from verifier.figures_shown import on_screen
from verifier.learning.advice import print_advice
from verifier.learning.figures import Figures, figures_of, tables_of
from verifier.learning.fit import PrintFit
from verifier.learning.kept_print import Condition, KeptPrint
from verifier.learning.row import PrintRow, ReadRow
from verifier.print_readings import (
    CONDITIONS,
    Readings,
    condition_asked,
    made_otherwise,
    readings_asked,
    readings_in,
    refuse_unsaid_condition,
)
from verifier.reporting.disagreeing_told import notices
from verifier.reporting.print_told import PrintTold, print_parts
from verifier.reporting.terminal import cleaner
from verifier.rulebook import Filament, Rules, Sheet, find_sheet, load_rules, load_sheet
from verifier.rulebook.calliper import reading_at
from verifier.rulebook.choice import named
from verifier.rulebook.sheet import SheetRow
from verifier.screen import Screen

# Earlier meshes named when it may have been one of them that was printed.
MESHES_TOLD = 5


@dataclass(frozen=True, slots=True)
class Asked:
    """What was typed besides the part: a file of readings, and what differs from the plan of the print."""

    readings: Path | None
    job: int | None
    filament: str | None
    printer: str | None
    condition: Condition | None


def said_condition(text: str | None) -> Condition | None:
    """The condition by its word. Raises WrongUsage for another word."""
    if text is None:
        return None
    for known in CONDITIONS:
        if text == known:
            return known
    raise WrongUsage(f"'{text}' is no condition of a nylon", where="--condition", do="Say dry or conditioned")


def enter_print(part: str, bench: Path, screen: Screen, asked: Asked) -> None:
    """Take the readings of a print, keep them, and say what they tell."""
    place = open_bench(bench)
    with closing(history_of(place)) as history:
        scan = _scan_printed(history, part, asked.job, place)
        others = [each for each in history.scans_of(part) if each.job != scan.job]
        sizes = [size for size in history.sizes_of(part) if size.job == scan.job]
        earlier = history.prints()
    rules = load_rules(place.rules)
    filament = named("filament", asked.filament or scan.filament, rules.filaments)
    printer = named("printer", asked.printer or scan.printer, rules.printers)
    rows = tuple(row for size in sizes if (row := size.on_print) is not None)
    if not rows:
        raise _nothing_to_read(part, scan)
    screen.tell(f"{part}: the print of the scan of {scan.finished_at[:10]} (job {scan.job}), in {filament.name}.")
    if others and asked.job is None:
        jobs = ", ".join(f"{each.job} ({each.finished_at[:10]})" for each in others[-MESHES_TOLD:])
        screen.tell(f"Was an earlier mesh of it printed? Then stop and add --job with its number: {jobs}.")
    readings = _readings(asked, rows, sizes, screen)
    condition = _condition(asked, readings, filament, screen)
    read = _read_rows(readings, rows, sizes, rules, part, asked)
    entry = PrintEntry(
        part=part, job=scan.job, filament=filament.name, printer=printer.name, condition=condition,
        rows=tuple(map(row_entry, read)),
    )  # fmt: skip
    in_time = ask_bench(place, EnterPrint(entry=entry))
    with closing(history_of(place)) as history:
        prints = history.prints()
    kept = prints[-1] if in_time else _not_yet(entry, read, earlier)
    figures = figures_of(filament, printer, prints if in_time else (*earlier, kept), _family_error(rules))
    told = _told(kept, figures, rules, rows, sizes)
    screen.say(on_screen(print_parts(told, screen.width, cleaner(screen.ascii_only)), screen))
    screen.tell(
        f"Entered. A slip? Take it back: verifier printed {part} --undo {kept.number} --bench {bench}"
        if in_time
        else "The service is busy and will enter it when it comes to it."
    )


def undo_print(part: str, number: int, bench: Path, screen: Screen) -> None:
    """Take a wrongly entered print out of every figure."""
    place = open_bench(bench)
    with closing(history_of(place)) as history:
        mine = [kept.number for kept in history.prints() if kept.part == part]
    if number not in mine:
        do = f"Its prints are {', '.join(map(str, mine))}" if mine else f"See what there is: verifier history {part}"
        raise UnknownName(f"{part} has no print {number} to be undone", where="--undo", do=do)
    done = ask_bench(place, UndoPrint(number=number))
    screen.say(f"{part}: print {number} {'counts no more' if done else 'will be taken out by the busy service'}.")


def _scan_printed(history: History, part: str, job: int | None, place: Bench) -> ScanSeen:
    """The scan whose mesh was printed: the newest that passed, else the newest; or the one that was named."""
    scans = history.scans_of(part)
    if not scans:
        raise UnknownName(
            "no scan of this part was measured on this bench",
            where=part,
            do=f"See what was: verifier history --bench {place.root}",
        )
    if job is None:
        return ([scan for scan in scans if scan.verdict == "PASS"] or list(scans))[-1]
    for scan in scans:
        if scan.job == job:
            return scan
    raise UnknownName(
        f"{part} has no scan {job}", where="--job", do=f"Its scans are {', '.join(str(s.job) for s in scans)}"
    )


def _nothing_to_read(part: str, scan: ScanSeen) -> WrongUsage:
    return WrongUsage(
        f"no size of scan {scan.job} can be read on a print",
        where=part,
        do=f"Fill in its sheet; for a scan of an earlier version run it once more: verifier retry {part}",
    )


def _readings(asked: Asked, rows: Sequence[PrintRow], sizes: Sequence[SizeSeen], screen: Screen) -> Readings:
    if asked.readings is not None:
        return readings_in(asked.readings, rows)
    readings = readings_asked(rows, _wanted(sizes), _asking(screen), screen.tell)
    if not readings.by_row:
        raise WrongUsage(
            "nothing was read, so nothing is kept", where="printed", do="Start again with calliper in hand"
        )
    return readings


def _asking(screen: Screen) -> Callable[[str], str]:
    """Asks until there is no more input, which ends the command as Ctrl-C does."""

    def ask(question: str) -> str:
        answer = screen.ask(question)
        if answer is None:
            raise typer.Abort
        return answer

    return ask


def _wanted(sizes: Sequence[SizeSeen]) -> dict[str, str]:
    """What each size was to be on the print: the original's, or another one that it was made on purpose."""
    told = {}
    for size in sizes:
        row, wanted_mm = size.on_print, size.wanted_mm
        if row is not None and (wanted_mm is None or made_otherwise(row, wanted_mm)):
            wanted_mm = row.expected_mm
        if wanted_mm is not None:
            told[size.name] = f"{wanted_mm:.2f}"
    return told


def _condition(asked: Asked, readings: Readings, filament: Filament, screen: Screen) -> Condition | None:
    if not filament.takes_up_water:
        return None
    said = asked.condition or readings.condition
    if said is None and asked.readings is not None:
        raise refuse_unsaid_condition(filament.polymer)
    return said or condition_asked(_asking(screen), filament.polymer)


def _read_rows(
    readings: Readings, rows: Sequence[PrintRow], sizes: Sequence[SizeSeen], rules: Rules, part: str, asked: Asked
) -> tuple[ReadRow, ...]:
    """Each reading with its uncertainty and its gauge's correction, as the sheet says of its row."""
    found = find_sheet(rules.folder, part)
    sheet = load_sheet(found, rules) if found else Sheet(part=part)
    on_sheet = {row.name: row for row in sheet.rows}
    where = asked.readings.name if asked.readings else "printed"
    read = []
    for row in rows:
        if row.name not in readings.by_row:
            continue
        plain = SheetRow.model_construct(name=row.name, kind=row.kind)
        typed = on_sheet.get(row.name, plain).model_copy(update={"reading": readings.by_row[row.name]})
        value = reading_at(typed, sheet, rules, where=f"{where}, '{row.name}'")
        if value is not None:
            read.append(ReadRow(row, value.value, value.u))
    return tuple(read)


def _family_error(rules: Rules) -> float:
    return rules.acceptance.decision.family_error


def _not_yet(entry: PrintEntry, read: tuple[ReadRow, ...], earlier: Sequence[KeptPrint]) -> KeptPrint:
    """The print as it will be, while the service has not entered it yet."""
    number = 1 + max((kept.number for kept in earlier), default=0)
    now = datetime.now(UTC).isoformat(timespec="milliseconds")
    return KeptPrint(number, entry.part, entry.job, entry.filament, entry.printer, entry.condition, now, read)


def _told(
    kept: KeptPrint, figures: Figures, rules: Rules, rows: Sequence[PrintRow], sizes: Sequence[SizeSeen]
) -> PrintTold:
    names = {each.row.name for each in kept.rows}
    unread = tuple(row for row in rows if row.name not in names)
    fit = figures.fits.get(kept.number) or _fit_alone(kept, figures, rules)
    tables = tables_of(figures.filament, figures.printer)
    return PrintTold(
        kept=kept,
        fit=fit,
        figures=figures,
        wanted=_wanted(sizes),
        warnings=(*_dry(kept, figures), *(notices(figures) if kept.number in figures.fits else ())),
        advice=(*print_advice(fit, kept.rows, unread, tables), *_print_again(figures, kept)),
    )


def _fit_alone(kept: KeptPrint, figures: Figures, rules: Rules) -> PrintFit:
    """A nylon read dry counts for no figure; what it says is shown by itself."""
    counted = replace(kept, condition="conditioned")
    return figures_of(figures.filament, figures.printer, (counted,), _family_error(rules)).fits[kept.number]


def _dry(kept: KeptPrint, figures: Figures) -> tuple[str, ...]:
    if kept.condition != "dry":
        return ()
    return (
        f"It was read dry and is kept, but counts for no figure: in the room {figures.filament.polymer} grows by about"
        " 0.5 to 0.7 %. Read it again when it has lain there for some weeks.",
    )


def _print_again(figures: Figures, kept: KeptPrint) -> tuple[str, ...]:
    if not any(known.used for known in figures.known.values()):
        return ()
    return (f"Before the next print have the mesh made anew with your own figures: verifier retry {kept.part}.",)
