"""Which hole a bore of the sheet wants: finished size, the drill for it, and whose figure that is."""

from collections.abc import Iterable
from dataclasses import dataclass

from verifier.errors import UnknownName
from verifier.rulebook.calliper import reading_of
from verifier.rulebook.limits import row_limits
from verifier.rulebook.mistakes import either, nearest_first, shown
from verifier.rulebook.rules import ClearanceHole, Filament, InsertHole, PilotHole, Rules, Thread
from verifier.rulebook.seats import Seat, wanted_seat
from verifier.rulebook.sheet import BoreUse, Sheet, SheetRow

# Metric drills come in tenths up to 13 mm.
DRILL_STEP_MM = 0.1


@dataclass(frozen=True, slots=True)
class Hole:
    """What one bore is to become.

    diameter_mm : finished, on the print; None where it is filled and no size is known to drill it to
    drill_mm : the drill, or the reamer of a press fit
    made_for : 'M4, medium fit'
    least_depth_mm : what the screw wants to hold; 0 where nothing is known
    by_sheet : its size is the row's own, so that the row's limits hold for it; by_reading : and it rests on the reading
    as_measured : its size is what was measured of it, so that it is judged as it scanned
    notes : what to know before it is used, each a sentence
    seat : what one mouth has for the screw's head or nut
    """

    use: BoreUse
    diameter_mm: float | None
    drill_mm: float | None
    made_for: str
    source: str
    notes: tuple[str, ...] = ()
    least_depth_mm: float = 0.0
    by_sheet: bool = False
    by_reading: bool = False
    as_measured: bool = False
    seat: Seat | None = None


def wanted_holes(sheet: Sheet, rules: Rules, filament: Filament) -> dict[str, Hole]:
    """The hole of every bore that is to be rebuilt, by its row's name.

    Bores without a use or with 'keep' are left out, and those made true to a reading that nobody has taken yet.
    Raises UnknownName for a screw or polymer without a hole in the rules.
    """
    holes = {row.name: _hole(row, sheet, rules, filament) for row in sheet.rows if row.kind == "bore"}
    return {name: hole for name, hole in holes.items() if hole is not None}


def check_screw(row: SheetRow, rules: Rules, *, where: str) -> None:
    """See that the rules have a hole for the row's screw. Raises UnknownName at `where`."""
    if row.screw is None:
        return
    if row.use == "threads":
        _thread(row.screw, rules, where)
    elif row.use == "insert":
        _insert(row.screw, rules, where)
    else:
        wanted_seat(row, _clearance(row, row.screw, rules, where).hole_mm, rules, where)


def _hole(row: SheetRow, sheet: Sheet, rules: Rules, filament: Filament) -> Hole | None:
    where = f"the sheet of {sheet.part}, row '{row.name}'"
    match row.use:
        case "slides":
            return _sliding(row, "slides", rules, where)
        case "threads":
            return _threading(row, rules, filament, where)
        case "insert":
            return _for_insert(row, rules, where)
        case "press":
            return _pressing(row, sheet)
        case "true":
            return _true(row, sheet, rules)
        case "drill":
            return _drilled(row, sheet, rules, where)
    return None


def _sliding(row: SheetRow, use: BoreUse, rules: Rules, where: str) -> Hole:
    found = _clearance(row, row.screw or "", rules, where)
    seat = wanted_seat(row, found.hole_mm, rules, where)
    made_for, source = f"{found.screw}, {found.fit} fit", found.source
    if seat is not None:
        made_for, source = f"{made_for}, {seat.in_words}", f"{source}; {seat.source}"
    return Hole(use, found.hole_mm, found.hole_mm, made_for, source, seat=seat)


def _threading(row: SheetRow, rules: Rules, filament: Filament, where: str) -> Hole:
    """The pilot hole: a share of the screw's nominal diameter, by polymer."""
    thread, pilot = _thread(row.screw or "", rules, where), _pilot(filament, rules, where)
    diameter_mm = round(pilot.hole_factor * thread.nominal_mm, 3)
    boss_mm, deep_mm = (factor * thread.nominal_mm for factor in (pilot.boss_factor, pilot.engagement_factor))
    notes = (
        f"The screw wants {deep_mm:.1f} mm of depth to hold in, and plastic {boss_mm:.1f} mm across round it.",
        *(
            f"A machine screw that cuts its thread wants {own.least_mm:g} to {own.greatest_mm:g} mm ({own.source})."
            for own in rules.self_cut_holes
            if own.screw == thread.screw
        ),
    )
    made_for = f"{thread.screw}, forming its thread in {filament.polymer}"
    return Hole("threads", diameter_mm, drill_for(diameter_mm), made_for, pilot.source, notes, deep_mm)


def _for_insert(row: SheetRow, rules: Rules, where: str) -> Hole:
    found = _insert(row.screw or "", rules, where)
    return Hole("insert", found.hole_mm, drill_for(found.hole_mm), f"a heat-set insert {found.screw}", found.source)


def _pressing(row: SheetRow, sheet: Sheet) -> Hole | None:
    """The middle of the row's class about the pin's size; a print is reamed into it."""
    limits = row_limits(row, sheet)
    if limits is None or row.nominal is None:
        return None
    middle_mm = 0.5 * (limits.least + limits.greatest)
    ream = f"Ream it to {limits.least:.3f} to {limits.greatest:.3f} mm: no print is sure enough for a press fit."
    made_for = f"a pin of {row.nominal:g} mm, {row.tolerance}"
    return Hole("press", middle_mm, row.nominal, made_for, limits.source, (ream,), by_sheet=True)


def _true(row: SheetRow, sheet: Sheet, rules: Rules) -> Hole | None:
    return None if _size_mm(row, sheet, rules) is None else _at_own_size(row, "true", sheet, rules)


def _drilled(row: SheetRow, sheet: Sheet, rules: Rules, where: str) -> Hole:
    if row.screw is not None:
        return _sliding(row, "drill", rules, where)
    return _at_own_size(row, "drill", sheet, rules)


def _at_own_size(row: SheetRow, use: BoreUse, sheet: Sheet, rules: Rules) -> Hole:
    size_mm = _size_mm(row, sheet, rules)
    if size_mm is None:
        return Hole(use, None, None, "the size you choose", "the sheet gives no size")
    by_reading = row.nominal is None
    made_for = f"its {'reading' if by_reading else 'nominal size'} of {size_mm:g} mm"
    return Hole(use, size_mm, drill_for(size_mm), made_for, "the sheet", by_sheet=True, by_reading=by_reading)


def _size_mm(row: SheetRow, sheet: Sheet, rules: Rules) -> float | None:
    """The drawing's size, or else what the calliper said, corrected for its flats; None without either."""
    if row.nominal is not None:
        return row.nominal
    reading = reading_of(row, sheet, rules)
    return None if reading is None else round(reading.value, 6)


def drill_for(diameter_mm: float) -> float:
    """The metric drill next to a diameter."""
    return round(round(diameter_mm / DRILL_STEP_MM) * DRILL_STEP_MM, 1)


# --- rows of screws.toml ----------------------------------------------------------------------------------------------


def _clearance(row: SheetRow, screw: str, rules: Rules, where: str) -> ClearanceHole:
    fit = row.fit or "medium"
    fits = [hole for hole in rules.clearance_holes if hole.screw == screw]
    found = next((hole for hole in fits if hole.fit == fit), None)
    if found is not None:
        return found
    if not fits:
        raise _no_row(
            f"there is no clearance hole for {shown(screw)}", screw, rules.clearance_holes, "clearance", where
        )
    do = f"Write fit = {either([hole.fit for hole in fits])}, or add a row [[clearance]] to screws.toml"
    raise UnknownName(f"there is no clearance hole for {shown(screw)} with fit {shown(fit)}", where=where, do=do)


def _thread(screw: str, rules: Rules, where: str) -> Thread:
    for thread in rules.threads:
        if thread.screw == screw:
            return thread
    raise _no_row(f"there is no thread {shown(screw)}", screw, rules.threads, "thread", where)


def _insert(screw: str, rules: Rules, where: str) -> InsertHole:
    for insert in rules.insert_holes:
        if insert.screw == screw:
            return insert
    raise _no_row(f"there is no hole for an insert {shown(screw)}", screw, rules.insert_holes, "insert", where)


def _pilot(filament: Filament, rules: Rules, where: str) -> PilotHole:
    for pilot in rules.pilot_holes:
        if pilot.polymer == filament.polymer:
            return pilot
    raise UnknownName(
        f"there is no pilot hole for screws in {filament.polymer}",
        where=where,
        do=f"Add a row [[pilot]] with polymer = '{filament.polymer}' to screws.toml, or write use = 'insert'",
    )


def _no_row(
    what: str, screw: str, rows: Iterable[ClearanceHole | Thread | InsertHole], table: str, where: str
) -> UnknownName:
    known = list(dict.fromkeys(row.screw for row in rows))
    if not known:
        return UnknownName(what, where=where, do=f"Add a row [[{table}]] to screws.toml")
    choices = either(nearest_first(screw, known))
    return UnknownName(what, where=where, do=f"Write {choices}, or add a row [[{table}]] to screws.toml")
