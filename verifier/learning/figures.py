"""What the shop knows of one filament on one printer: the table's figures, its own prints', and which are used."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.learning.fit import PrintFit, fit_print
from verifier.learning.kept_print import KeptPrint
from verifier.learning.pooling import Pooled, pool
from verifier.learning.terms import IN_WORDS, RATIOS, TERMS, Expected, Term, TermName
from verifier.rulebook.rules import Filament, OwnFigure, Printer

# Strands lie as wide as planned, give or take 5 % of 0.45 mm on each outline and the corners' bulge.
# Common practice, no source.
U_PROUD_MM = 0.05

# A figure of the tables may be wrong by five of its stated uncertainties before a reading is doubted on its account:
# published shrinkages of one polymer differ by as much (0.4 to 1.6 % for ABS, the table having 0.6 %).
EXPECTED_LOOSELY = 5.0

# What the rules allow a shrinkage to be; prints that say otherwise are of another part, or of another unit.
LEAST_SHRINK, MOST_SHRINK = -0.02, 0.1
MOST_LENGTH_MM = 1.0


@dataclass(frozen=True, slots=True)
class Known:
    """One figure and where it comes from.

    table : of the rules
    single : number of the print -> what it says, for those sure enough to count
    too_unsure : prints that say something, less surely than the table
    pooled : of `single`; None for fewer than two
    used : the shop's own figure stands in for the table's
    """

    name: TermName
    table: Term
    single: Mapping[int, Term]
    too_unsure: tuple[int, ...]
    pooled: Pooled | None
    used: bool


@dataclass(frozen=True, slots=True)
class Figures:
    """All figures of one filament on one printer, from the prints of one condition."""

    filament: Filament
    printer: Printer
    prints: tuple[KeptPrint, ...]
    fits: Mapping[int, PrintFit]
    known: Mapping[TermName, Known]


def figures_of(filament: Filament, printer: Printer, prints: Sequence[KeptPrint], family_error: float) -> Figures:
    """What the prints say together with the tables.

    prints : of any filament, oldest first; those of this filament on this printer count. Of a nylon only conditioned
        prints do: the part is used in the room, and a dry one is 0.5 to 0.7 % smaller.
    """
    own = tuple(each for each in prints if _counts(each, filament, printer))
    tables = tables_of(filament, printer)
    expected: dict[TermName, Term] = {
        name: Term(term.value, term.u * EXPECTED_LOOSELY) for name, term in tables.items()
    }
    scatter_mm = printer.size_scatter_mm
    fits = {each.number: fit_print(each.rows, expected, family_error, scatter_mm) for each in own}
    for each in own:
        if any(len(group) > 1 for group in fits[each.number].misread):
            finer = _by_others(each.number, fits, tables, expected)
            fits[each.number] = fit_print(each.rows, expected, family_error, scatter_mm, finer=finer)
    fits = {each.number: _with_scale(fits[each.number], each.u_scale) for each in own}
    known = {name: _known(name, tables[name], fits) for name in TERMS}
    return Figures(filament, printer, own, fits, known)


def _with_scale(fit: PrintFit, u_scale: float) -> PrintFit:
    """The fit of a scanned print: a wrong scale of its scan is taken for shrinkage, whole, and no row can show it."""
    terms = {
        name: Term(term.value, float(np.hypot(term.u, u_scale))) if name in RATIOS else term
        for name, term in fit.terms.items()
    }
    return replace(fit, terms=terms)


def _by_others(
    number: int, fits: Mapping[int, PrintFit], tables: Mapping[TermName, Term], expected: Expected
) -> dict[TermName, Term]:
    """What all prints but one say of each term, where that is surer than what was expected."""
    others = {other: fit for other, fit in fits.items() if other != number}
    pooled = {name: _known(name, tables[name], others).pooled for name in TERMS}
    return {
        name: Term(own.value, own.u_next) if (own := pooled[name]) and own.u_next < expected[name].u else expected[name]
        for name in TERMS
    }


def _counts(kept: KeptPrint, filament: Filament, printer: Printer) -> bool:
    same = (kept.filament, kept.printer) == (filament.name, printer.name)
    return same and (not filament.takes_up_water or kept.condition == "conditioned")


def tables_of(filament: Filament, printer: Printer) -> dict[TermName, Term]:
    """What the rules say of each term."""
    return {
        "shrink_xy": Term(filament.shrink_xy, filament.u_shrink_xy),
        "shrink_z": Term(filament.shrink_z, filament.u_shrink_z),
        "hole_mm": Term(printer.hole_allowance_mm, printer.u_hole_mm or U_PROUD_MM),
        "proud_mm": Term(printer.wall_proud_mm, printer.u_wall_mm or U_PROUD_MM),
    }


def _known(name: TermName, table: Term, fits: Mapping[int, PrintFit]) -> Known:
    told = {number: fit.terms[name] for number, fit in fits.items() if name in fit.terms}
    single = {number: term for number, term in told.items() if term.u <= table.u}
    pooled = pool(list(single.values()))
    used = pooled is not None and pooled.u < table.u and _is_possible(name, pooled.value)
    return Known(name, table, single, tuple(number for number in told if number not in single), pooled, used)


def _is_possible(name: TermName, value: float) -> bool:
    return LEAST_SHRINK <= value < MOST_SHRINK if name in RATIOS else abs(value) < MOST_LENGTH_MM


def own_figures(figures: Figures) -> tuple[OwnFigure, ...]:
    """Those to be used in place of the tables'."""
    return tuple(
        OwnFigure(
            figures.filament.name,
            figures.printer.name,
            name,
            known.pooled.value,
            known.pooled.u_next,
            source_of(known, figures),
        )
        for name, known in figures.known.items()
        if known.used and known.pooled is not None
    )


def source_of(known: Known, figures: Figures) -> str:
    """For the report: what, how many prints, where and when."""
    days = [each.entered_at[:10] for each in figures.prints if each.number in known.single]
    span = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    return f"{IN_WORDS[known.name]}: {len(days)} prints of our own on {figures.printer.name}, {span}"
