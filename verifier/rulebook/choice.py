"""Which filament, printer and calliper a sheet means, by name."""

from collections.abc import Sequence
from typing import TypeVar

from verifier.errors import UnknownName
from verifier.rulebook.mistakes import either, nearest_first, shown
from verifier.rulebook.rules import Calliper, Filament, Printer, Rules
from verifier.rulebook.sheet import Sheet

Named = TypeVar("Named", Filament, Printer, Calliper)


def filament_for(sheet: Sheet, rules: Rules, override: str | None = None) -> Filament:
    """The filament asked for by name, else the sheet's, else the shop's own. Raises UnknownName."""
    return named("filament", override or sheet.filament or rules.default_filament, rules.filaments)


def printer_for(sheet: Sheet, rules: Rules, override: str | None = None) -> Printer:
    """The printer asked for by name, else the sheet's, else the shop's own. Raises UnknownName."""
    return named("printer", override or sheet.printer or rules.default_printer, rules.printers)


def calliper_for(sheet: Sheet, rules: Rules, override: str | None = None) -> Calliper:
    """The calliper asked for by name, else the sheet's, else the shop's own. Raises UnknownName."""
    return named("calliper", override or sheet.calliper or rules.default_calliper, rules.callipers)


def named(kind: str, name: str, rows: Sequence[Named], where: str | None = None) -> Named:
    """The row of that name; `where` is the file and line that asks for it, when there is one.

    Raises UnknownName, with the names spelt alike first.
    """
    for row in rows:
        if row.name == name:
            return row
    raise UnknownName(
        f"there is no {kind} called {shown(name)}",
        where=where or kind,
        do=f"Write {either(nearest_first(name, [row.name for row in rows]))}, or add it to {kind}s.toml",
    )
