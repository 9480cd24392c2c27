"""What a copy is made of, on which printer, and the holes its sheet asks for: chosen before any work is done."""

from dataclasses import dataclass

from verifier.rulebook.choice import filament_for, printer_for
from verifier.rulebook.holes import Hole, wanted_holes
from verifier.rulebook.own_figures import with_own_figures
from verifier.rulebook.rules import Filament, Printer, Rules
from verifier.rulebook.sheet import Sheet


@dataclass(frozen=True, slots=True)
class Making:
    """The shop's choice for one part.

    filament, printer : with the shop's own figures, where its prints have shown any
    holes : of every bore that is to be rebuilt, by its row's name
    """

    filament: Filament
    printer: Printer
    holes: dict[str, Hole]


def making_of(sheet: Sheet, rules: Rules, filament: str | None = None) -> Making:
    """What the sheet asks for, else the shop's own; a filament named here goes before the sheet's.

    Raises UnknownName for a filament, printer, screw or seat that the rules do not have.
    """
    chosen, printer = with_own_figures(
        filament_for(sheet, rules, filament), printer_for(sheet, rules), rules.own_figures
    )
    return Making(chosen, printer, wanted_holes(sheet, rules, chosen))
