"""The rules folder, file by file, into one value."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ConfigDict

from verifier.errors import RuleMistake
from verifier.rulebook.choice import named
from verifier.rulebook.mistakes import check, shown
from verifier.rulebook.row import Row
from verifier.rulebook.rules import (
    Acceptance,
    Calliper,
    Caution,
    ClearanceHole,
    Filament,
    InsertHole,
    PilotHole,
    Printer,
    Rules,
    SelfCutHole,
    Thread,
)
from verifier.rulebook.seat_row import SeatSize
from verifier.rulebook.tolerance_tables import Tolerances
from verifier.rulebook.toml_file import TomlFile, read_toml


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Filaments(_Table):
    filament: tuple[Filament, ...]


class _Screws(_Table):
    clearance: tuple[ClearanceHole, ...] = ()
    thread: tuple[Thread, ...] = ()
    pilot: tuple[PilotHole, ...] = ()
    self_cut: tuple[SelfCutHole, ...] = ()
    insert: tuple[InsertHole, ...] = ()
    seat: tuple[SeatSize, ...] = ()


class _Callipers(_Table):
    calliper: tuple[Calliper, ...]


class _Printers(_Table):
    printer: tuple[Printer, ...]


class _Cautions(_Table):
    caution: tuple[Caution, ...] = ()


class _Defaults(Row):
    filament: str
    printer: str
    calliper: str


_Member = TypeVar("_Member", bound=Row)


def load_rules(folder: Path) -> Rules:
    """Read every rules file of a folder but the sheets.

    Raises RuleMistake or UnknownName, with the file and the line.
    """
    filaments, printers, callipers = _filaments(folder), _printers(folder), _callipers(folder)
    cautions = _cautions(folder)
    screws = _screws(folder)
    defaults = _defaults(folder, filaments, printers, callipers)
    return Rules(
        folder=folder,
        filaments=tuple(_with_cautions(filament, cautions) for filament in filaments),
        clearance_holes=screws.clearance,
        threads=screws.thread,
        pilot_holes=screws.pilot,
        insert_holes=screws.insert,
        callipers=callipers,
        printers=printers,
        acceptance=check(Acceptance, read_toml(folder / "acceptance.toml")),
        default_filament=defaults.filament,
        default_printer=defaults.printer,
        default_calliper=defaults.calliper,
        self_cut_holes=screws.self_cut,
        seat_sizes=screws.seat,
        tolerances=load_tolerances(folder),
        cautions=cautions,
    )


def load_tolerances(folder: Path) -> Tolerances:
    """The tolerance tables of a rules folder. Raises RuleMistake."""
    return check(Tolerances, read_toml(folder / "tolerances.toml"))


def _filaments(folder: Path) -> tuple[Filament, ...]:
    file = read_toml(folder / "filaments.toml")
    return _each_once(check(_Filaments, file).filament, "filament", file, lambda row: row.name)


def _printers(folder: Path) -> tuple[Printer, ...]:
    file = read_toml(folder / "printers.toml")
    return _each_once(check(_Printers, file).printer, "printer", file, lambda row: row.name)


def _callipers(folder: Path) -> tuple[Calliper, ...]:
    file = read_toml(folder / "callipers.toml")
    return _each_once(check(_Callipers, file).calliper, "calliper", file, lambda row: row.name)


def _cautions(folder: Path) -> tuple[Caution, ...]:
    file = read_toml(folder / "cautions.toml")
    return _each_once(check(_Cautions, file).caution, "caution", file, lambda row: row.text)


def _screws(folder: Path) -> _Screws:
    file = read_toml(folder / "screws.toml")
    screws = check(_Screws, file)
    _each_once(screws.clearance, "clearance", file, lambda row: f"{row.screw} {row.fit}")
    _each_once(screws.thread, "thread", file, lambda row: row.screw)
    _each_once(screws.pilot, "pilot", file, lambda row: row.polymer)
    _each_once(screws.self_cut, "self_cut", file, lambda row: row.screw)
    _each_once(screws.insert, "insert", file, lambda row: row.screw)
    _each_once(screws.seat, "seat", file, lambda row: f"{row.screw} {row.form}")
    return screws


def _defaults(
    folder: Path, filaments: Sequence[Filament], printers: Sequence[Printer], callipers: Sequence[Calliper]
) -> _Defaults:
    file = read_toml(folder / "defaults.toml")
    defaults = check(_Defaults, file)
    named("filament", defaults.filament, filaments, file.where(("filament",)))
    named("printer", defaults.printer, printers, file.where(("printer",)))
    named("calliper", defaults.calliper, callipers, file.where(("calliper",)))
    return defaults


def _each_once(
    rows: tuple[_Member, ...], table: str, file: TomlFile, name_of: Callable[[_Member], str]
) -> tuple[_Member, ...]:
    seen: set[str] = set()
    for index, row in enumerate(rows):
        name = name_of(row)
        if name in seen:
            raise RuleMistake(
                f"there is a second {table} {shown(name)}",
                where=file.where((table, index)),
                do="Take one of the two out, or give it a name of its own",
            )
        seen.add(name)
    return rows


def _with_cautions(filament: Filament, cautions: Sequence[Caution]) -> Filament:
    """The filament with the cautions about its polymer behind its own."""
    about_it = tuple(caution.text for caution in cautions if filament.polymer in caution.polymers)
    return filament.model_copy(update={"cautions": filament.cautions + about_it})
