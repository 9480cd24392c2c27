"""The sheet a print is judged by: every row with the size the print should have, and no readings of the original."""

from collections.abc import Iterable, Mapping

from verifier.errors import RuleMistake
from verifier.rulebook.calliper import reading_of
from verifier.rulebook.holes import Hole, wanted_holes
from verifier.rulebook.limits import RowLimits, row_limits
from verifier.rulebook.rules import Filament, Rules
from verifier.rulebook.sheet import Sheet, SheetRow

# What a print is called: the scan's own name up to its second dot.
PRINT_ENDING = ".print"
# What is said of the original and means nothing for a print.
NOT_OF_A_PRINT = dict.fromkeys(("reading", "gauged", "use", "screw", "fit", "seat", "seat_on"))


def is_print(name: str) -> bool:
    """Whether a scan, by its file's name, is of a print: 'latch_lever.print.stl'; or a part's name is a print's."""
    return (*name.split("."), "")[1] == PRINT_ENDING[1:]


def sheet_of_print(sheet: Sheet, rules: Rules, filament: Filament, changes_mm: Mapping[str, float] | None) -> Sheet:
    """The rows that can be measured on the print, each with the size wanted there as its nominal size.

    changes_mm : how much larger each size was made on purpose; None when no result says so
    A bore made for a screw is wanted in the size of its hole. Bores that are filled to be drilled are left out, and
    what is measured from them. Raises RuleMistake for a sheet that reshapes the part while nothing says by how much.
    """
    if sheet.reshape and changes_mm is None:
        raise RuleMistake(
            "the sheet has the part made another than the original, and no result says how large its sizes became",
            where=f"{sheet.part}.toml",
            do=f"Check the scan of the original first, on the bench, which keeps its {sheet.part}.report.json",
        )
    holes = wanted_holes(sheet, rules, filament)
    filled = {name for name, hole in holes.items() if hole.use == "drill"}
    rows = (row for row in sheet.rows if not filled & set(_needed(row)))
    wanted = (
        _row_of_print(row, holes.get(row.name), sheet, rules, (changes_mm or {}).get(row.name, 0.0)) for row in rows
    )
    taken = {
        "part": f"{sheet.part}{PRINT_ENDING}",
        "size": tuple(wanted),
        "reshape": (),
        "reference": None,
        "unit": None,
    }
    return sheet.model_copy(update=taken).with_tables(sheet.tables)


def _needed(row: SheetRow) -> Iterable[str]:
    """The rows without which this one cannot be measured, itself among them."""
    return (row.name, *(row.between or ()), *((row.of,) if row.of else ()))


def _row_of_print(row: SheetRow, hole: Hole | None, sheet: Sheet, rules: Rules, change_mm: float) -> SheetRow:
    plain = row.model_copy(update=NOT_OF_A_PRINT)
    if hole is not None and hole.diameter_mm is not None and not hole.by_sheet:
        at_hole = plain.model_copy(update={"nominal": hole.diameter_mm, "limits": None})
        return _limited(at_hole, row_limits(at_hole, sheet), 0.0)
    reading = reading_of(row, sheet, rules)
    size_mm = row.nominal if row.nominal is not None or reading is None else reading.value
    limits = row_limits(row, sheet)
    if size_mm is None or limits is None or limits.one_sided:
        return plain.model_copy(update={"nominal": size_mm})
    # Limits about a reading lie about what it means, which the gauge's flats may shift.
    shift = change_mm + (size_mm - row.reading if row.nominal is None and row.limits is None and row.reading else 0.0)
    return _limited(plain.model_copy(update={"nominal": size_mm + change_mm}), limits, shift)


def _limited(row: SheetRow, limits: RowLimits | None, shift_mm: float) -> SheetRow:
    if limits is None:
        return row
    return row.model_copy(update={"limits": (limits.least + shift_mm, limits.greatest + shift_mm), "tolerance": None})
