"""What each row of the sheet asks for, as a number with an uncertainty."""

from dataclasses import dataclass

import numpy as np

from verifier.rulebook import Rules, Sheet, SheetRow, reading_of
from verifier.rulebook.size_kinds import IN_DEGREES

# A nominal says what the drawing wanted, not what the mould gave. Moulded parts of this size lie within about
# 0.1 mm + 0.3 % of it (common practice, no source); an angle within about half a degree.
NOMINAL_U_MM = 0.1
NOMINAL_U_RATIO = 0.003
NOMINAL_U_DEG = 0.5
# Two readings are of equal size when they differ by less than this many of their standard uncertainties.
EQUAL = 2.0


@dataclass(frozen=True, slots=True)
class Wanted:
    """A row and the size by which it can be recognised.

    index : its place in the sheet, among all rows
    size : reading, else nominal, mm or degrees; None when the row has neither
    u : standard uncertainty of it, as a statement about the original part
    """

    index: int
    row: SheetRow
    size: float | None
    u: float


def wanted_rows(sheet: Sheet, rules: Rules) -> tuple[Wanted, ...]:
    """One for each row, in the sheet's order."""
    return tuple(_wanted(index, row, sheet, rules) for index, row in enumerate(sheet.rows))


def _wanted(index: int, row: SheetRow, sheet: Sheet, rules: Rules) -> Wanted:
    reading = reading_of(row, sheet, rules)
    if reading is not None:
        return Wanted(index, row, reading.value, reading.u)
    if row.nominal is None:
        return Wanted(index, row, None, 0.0)
    u = NOMINAL_U_DEG if row.kind in IN_DEGREES else NOMINAL_U_MM + NOMINAL_U_RATIO * row.nominal
    return Wanted(index, row, row.nominal, u)


def equal_sizes(a: Wanted, b: Wanted) -> bool:
    """Whether two rows ask for the same size, as far as their uncertainties tell."""
    if a.size is None or b.size is None:
        return a.size is b.size
    return bool(abs(a.size - b.size) <= EQUAL * np.hypot(a.u, b.u))
