"""What a tolerance class allows at a size: 'ISO 2768-m', 'IT12', 'H11', 'f7', 'DIN 16742-TG6 NW'."""

import re
from dataclasses import dataclass

from verifier.rulebook.tolerance_tables import GREATEST_GRADE, LEAST_GRADE, GradeRange, Tolerances, range_of

MICROMETRE_MM = 0.001

# A letter for flatness and the like may follow on drawings ('ISO 2768-mK'); it says nothing about sizes.
_GENERAL = re.compile(r"(?:DIN )?ISO ?2768(?:-1)?[- ]([fmcv])[HKL]?")
_MOULDED = re.compile(r"DIN ?16742[- ]TG ?6[- ](W|NW)")
_GRADE = re.compile(r"IT ?(\d{1,2})")
_FIT = re.compile(r"(H|h|JS|js|f|g|p) ?(\d{1,2})")

KNOWN_CLASSES = "ISO 2768-m (or f, c, v), DIN 16742-TG6 W (or NW), IT12, H11, h11, js12, f7, g6, p6"


class NoSuchClass(ValueError):
    """A class that is not known, or that has no value at this size; both sentences without their full stops."""

    def __init__(self, what: str, do: str) -> None:
        super().__init__(what)
        self.what, self.do = what, do


@dataclass(frozen=True, slots=True)
class Band:
    """How far a size may lie below (negative) and above its nominal, and whose figure that is."""

    lower_mm: float
    upper_mm: float
    source: str


def is_symmetrical(name: str) -> bool:
    """Whether a class allows as much to either side, as a class for all rows of a sheet has to."""
    fit = _FIT.fullmatch(name)
    return fit is None or fit[1] in ("js", "JS")


def fits_only(name: str) -> str | None:
    """The kind of size a class belongs to by its letter: 'bore' for capitals, 'boss' for small letters, else None."""
    fit = _FIT.fullmatch(name)
    if fit is None or fit[1] in ("js", "JS"):
        return None
    return "bore" if fit[1].isupper() else "boss"


def class_band(name: str, size_mm: float, tables: Tolerances) -> Band:
    """The band of a tolerance class at a size.

    ISO 2768-1, DIN 16742: plus and minus the table. ISO 286-1: IT and js plus and minus half the grade; H from the size
    up, h from the size down; f and g down from their upper deviation, p up from its lower one.
    Raises NoSuchClass.
    """
    if general := _GENERAL.fullmatch(name):
        return _general_band(general[1], size_mm, tables)
    if moulded := _MOULDED.fullmatch(name):
        return _moulded_band(moulded[1], size_mm, tables)
    if grade := _GRADE.fullmatch(name):
        return _grade_band(name, "js", int(grade[1]), size_mm, tables)
    if fit := _FIT.fullmatch(name):
        return _grade_band(name, fit[1], int(fit[2]), size_mm, tables)
    raise NoSuchClass(
        f"'{name[:40]}' is no tolerance class that is known", f"Write a number, such as 0.15, or one of {KNOWN_CLASSES}"
    )


def _symmetrical(half_mm: float, source: str) -> Band:
    return Band(-half_mm, half_mm, source)


def _no_value(table: str, size_mm: float) -> NoSuchClass:
    return NoSuchClass(f"{table} has no value for {size_mm:g} mm", "Give this row a tolerance of its own, as a number")


def _general_band(letter: str, size_mm: float, tables: Tolerances) -> Band:
    row = range_of(size_mm, tables.general)
    half_mm = None if row is None else {"f": row.f, "m": row.m, "c": row.c, "v": row.v}[letter]
    if row is None or half_mm is None:
        raise _no_value(f"ISO 2768-{letter}", size_mm)
    return _symmetrical(half_mm, f"ISO 2768-{letter} ({row.source})")


def _moulded_band(column: str, size_mm: float, tables: Tolerances) -> Band:
    row = range_of(size_mm, tables.moulded)
    if row is None:
        raise _no_value("DIN 16742-TG6", size_mm)
    return _symmetrical(row.w_mm if column == "W" else row.nw_mm, f"DIN 16742-TG6 {column} ({row.source})")


def _grade_band(name: str, letter: str, grade: int, size_mm: float, tables: Tolerances) -> Band:
    if not LEAST_GRADE <= grade <= GREATEST_GRADE:
        raise NoSuchClass(
            f"grade {grade} is not in the tables",
            f"Take a grade from {LEAST_GRADE} (narrow) to {GREATEST_GRADE} (wide)",
        )
    row = range_of(size_mm, tables.grade)
    if row is None:
        raise _no_value("ISO 286-1", size_mm)
    width_um = row.it_um[grade - LEAST_GRADE]
    lower_um, source = _lower_deviation_um(letter, width_um, size_mm, row, tables)
    lower_mm, upper_mm = lower_um * MICROMETRE_MM, (lower_um + width_um) * MICROMETRE_MM
    return Band(lower_mm, upper_mm, f"{name} ({source})")


def _lower_deviation_um(
    letter: str, width_um: float, size_mm: float, grade: GradeRange, tables: Tolerances
) -> tuple[float, str]:
    """The lower deviation of a letter at a size, and its source."""
    if letter in ("js", "JS"):
        return -width_um / 2.0, grade.source
    if letter in ("H", "h"):
        return (0.0 if letter == "H" else -width_um), grade.source
    row = range_of(size_mm, tables.deviation)
    if row is None:
        raise _no_value(f"the table for the letter {letter}", size_mm)
    lower_um = {"f": row.f_es_um - width_um, "g": row.g_es_um - width_um, "p": row.p_ei_um}[letter]
    return lower_um, row.source
