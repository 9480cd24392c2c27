"""The least and the greatest size a row of the sheet allows."""

import math
from dataclasses import dataclass
from functools import cache

from verifier.errors import RuleMistake
from verifier.rulebook.folder import load_tolerances
from verifier.rulebook.sheet import FORM_KINDS, Sheet, SheetRow
from verifier.rulebook.size_kinds import IN_DEGREES
from verifier.rulebook.tolerance_class import Band, NoSuchClass, class_band, fits_only, is_symmetrical
from verifier.rulebook.tolerance_tables import Tolerances
from verifier.shipped import rules_folder

# Sizes are typed to a hundredth; rounded to a nanometre, 6.02 + 0.15 stays 6.17 and does not become 6.1699999999999999.
DECIMALS = 6

# A class can be checked before its size is known: every table has a value here.
ANY_SIZE_MM = 25.0


@dataclass(frozen=True, slots=True)
class RowLimits:
    """What a row allows: millimetres, or degrees for an angle.

    source : who says so: the sheet, or the class and the table it was looked up in
    one_sided : there is a greatest only; the least is nought, which is perfect
    """

    least: float
    greatest: float
    source: str
    one_sided: bool = False

    @property
    def floor(self) -> float:
        """The least that is judged by: minus infinity where there is none."""
        return -math.inf if self.one_sided else self.least


def row_limits(row: SheetRow, sheet: Sheet) -> RowLimits | None:
    """The limits of one row: its own limits, its own tolerance, else the sheet's general one.

    A tolerance lies about the nominal size, or about the reading where no nominal is given. None without a size to lie
    about, and for a row that nobody gave a tolerance; a general class holds for lengths, not for angles.
    A sheet that was made in Python has its classes looked up in the tables that come with the verifier.
    Raises RuleMistake for a class that is not known, or has no value at this size.
    """
    return limits_at(row, sheet, where=f"the sheet of {sheet.part}, row '{row.name}'")


def limits_at(row: SheetRow, sheet: Sheet, *, where: str) -> RowLimits | None:
    """The same as row_limits; a mistake is reported at `where`."""
    if row.limits is not None:
        return RowLimits(*row.limits, source="limits on the sheet")
    if row.kind in FORM_KINDS and isinstance(row.tolerance, float):
        return RowLimits(0.0, row.tolerance, f"at most {row.tolerance:g} on the sheet", one_sided=True)
    try:
        band = _band(row, sheet)
    except NoSuchClass as error:
        raise RuleMistake(error.what, where=where, do=error.do) from error
    size = row.size_limited
    if band is None or size is None:
        return None
    return RowLimits(round(size + band.lower_mm, DECIMALS), round(size + band.upper_mm, DECIMALS), band.source)


def check_general_class(sheet: Sheet, *, where: str) -> None:
    """See that the sheet's general class can stand for all rows that give none. Raises RuleMistake at `where`."""
    if sheet.general_tolerance is None:
        return
    name = _spaced(sheet.general_tolerance)
    try:
        class_band(name, ANY_SIZE_MM, _tables(sheet))
    except NoSuchClass as error:
        raise RuleMistake(error.what, where=where, do=error.do) from error
    if not is_symmetrical(name):
        raise RuleMistake(
            f"'{name}' is for one bore or one shaft, and would hold for every size",
            where=where,
            do="Write a class that goes to both sides, such as 'ISO 2768-m'",
        )


def _band(row: SheetRow, sheet: Sheet) -> Band | None:
    size = row.size_limited
    if isinstance(row.tolerance, float):
        return Band(-row.tolerance, row.tolerance, f"+-{row.tolerance:g} on the sheet")
    if row.tolerance is not None:
        return _own_class_band(row, _spaced(row.tolerance), ANY_SIZE_MM if size is None else size, _tables(sheet))
    if sheet.general_tolerance is None or row.kind in IN_DEGREES or size is None:
        return None
    return class_band(_spaced(sheet.general_tolerance), size, _tables(sheet))


def _own_class_band(row: SheetRow, name: str, size_mm: float, tables: Tolerances) -> Band:
    if row.kind in IN_DEGREES:
        raise NoSuchClass("an angle has no tolerance class here", "Give its tolerance in degrees, as a number")
    band = class_band(name, size_mm, tables)
    belongs_to = fits_only(name)
    # A capital for a small letter turns the tolerance to the other side of the size.
    if belongs_to is not None and row.kind in ("bore", "boss") and belongs_to != row.kind:
        raise NoSuchClass(
            f"{name} is a class for a {belongs_to}, and this row is a {row.kind}",
            "Write capital letters for bores and small letters for shafts and bosses",
        )
    return band


def _spaced(name: str) -> str:
    return " ".join(name.split())


def _tables(sheet: Sheet) -> Tolerances:
    return _shipped_tables() if sheet.tables is None else sheet.tables


@cache
def _shipped_tables() -> Tolerances:
    return load_tolerances(rules_folder())
