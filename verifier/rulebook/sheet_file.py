"""A part's dimension sheet from its file, checked against itself and against the rules."""

import unicodedata
from collections.abc import Iterator, Sequence
from pathlib import Path

from verifier.errors import RuleMistake, UnknownName
from verifier.rulebook.calliper import reading_at
from verifier.rulebook.choice import named
from verifier.rulebook.holes import check_screw
from verifier.rulebook.limits import check_general_class, limits_at
from verifier.rulebook.mistakes import check, either, nearest_first, shown
from verifier.rulebook.reshape_checks import check_load, check_reshapes
from verifier.rulebook.rules import Rules
from verifier.rulebook.sheet import Sheet, SheetRow
from verifier.rulebook.size_kinds import may_name
from verifier.rulebook.toml_file import TomlFile, read_toml


def part_name(filename: str) -> str:
    """The part a file or folder is of: its name up to the first dot ('seat_armrest.2.ply' is of 'seat_armrest').

    Letters with accents are put in their composed form, since some disks store them as two characters.
    """
    return unicodedata.normalize("NFC", filename).split(".", 1)[0]


def find_sheet(rules_folder: Path, part: str) -> Path | None:
    """The sheet of a part in a rules folder, None when nobody has written one."""
    sheets = rules_folder / "sheets"
    return next(
        (path for path in sorted(sheets.glob("*.toml")) if unicodedata.normalize("NFC", path.stem) == part), None
    )


def load_sheet(path: Path, rules: Rules) -> Sheet:
    """Read one dimension sheet; rows without a reading are taken, so that a half-filled sheet can be looked at.

    Raises RuleMistake or UnknownName, with the file and the line.
    """
    file = read_toml(path)
    sheet = check(Sheet, file).with_tables(rules.tolerances)
    _check_part(sheet, path, file)
    sheet = _with_rows_of_twin(sheet, rules, file)
    _check_names(sheet, rules, file)
    _check_rows_once(sheet, file)
    _check_references(sheet, file)
    _check_tolerances(sheet, file)
    _check_readings(sheet, rules, file)
    check_reshapes(sheet, file)
    check_load(sheet, file)
    for index, row in enumerate(sheet.rows):
        check_screw(row, rules, where=file.where(("size", index, "screw")))
    return sheet


def _check_part(sheet: Sheet, path: Path, file: TomlFile) -> None:
    expected = part_name(path.name)
    if sheet.part != expected:
        raise RuleMistake(
            f"the part is called {shown(sheet.part)}, the file {shown(path.name)}",
            where=file.where(("part",)),
            do=f"Write part = '{expected}', or call the file '{part_name(sheet.part)}.toml'",
        )


def _with_rows_of_twin(sheet: Sheet, rules: Rules, file: TomlFile) -> Sheet:
    """A sheet that is mirrored from another part and has no sizes of its own takes that part's, with what they need."""
    if sheet.twin is None:
        return sheet
    index = next(i for i, each in enumerate(sheet.reshape) if each.of is not None)
    where = file.where(("reshape", index, "of"))
    if sheet.twin == sheet.part:
        do = "Name the part whose scan it is, or take 'of' out to mirror its own scan"
        raise RuleMistake(f"{shown(sheet.part)} cannot be mirrored from itself", where=where, do=do)
    if sheet.rows:
        return sheet
    path = find_sheet(rules.folder, sheet.twin)
    if path is None:
        do = f"Write {sheet.twin}.toml first, or give this sheet sizes of its own"
        raise UnknownName(f"there is no sheet of {shown(sheet.twin)} to take the sizes of", where=where, do=do)
    other = check(Sheet, read_toml(path))
    if other.twin is not None:
        do = f"Write of = {shown(other.twin)}, or give this sheet sizes of its own"
        raise RuleMistake(f"{shown(sheet.twin)} is mirrored from another part itself", where=where, do=do)
    load_sheet(path, rules)  # says what is wrong with that sheet, at its own lines
    taken: dict[str, object] = {"size": other.size}
    for key in ("calliper", "general_tolerance", "unit"):
        taken[key] = getattr(sheet, key) or getattr(other, key)
    return sheet.model_copy(update=taken).with_tables(rules.tolerances)


def _check_names(sheet: Sheet, rules: Rules, file: TomlFile) -> None:
    if sheet.filament is not None:
        named("filament", sheet.filament, rules.filaments, file.where(("filament",)))
    if sheet.printer is not None:
        named("printer", sheet.printer, rules.printers, file.where(("printer",)))
    if sheet.calliper is not None:
        named("calliper", sheet.calliper, rules.callipers, file.where(("calliper",)))


def _check_rows_once(sheet: Sheet, file: TomlFile) -> None:
    lines: dict[str, int] = {}
    for index, row in enumerate(sheet.rows):
        if row.name in lines:
            raise RuleMistake(
                f"there is a second row called {shown(row.name)}; the first is at line {lines[row.name]}",
                where=file.where(("size", index, "name")),
                do="Give it a name of its own",
            )
        lines[row.name] = file.line(("size", index))


def _check_references(sheet: Sheet, file: TomlFile) -> None:
    for index, row in enumerate(sheet.rows):
        for key, names in _named_by(row):
            kinds = may_name(row.kind, key)
            fitting = [other.name for other in sheet.rows if other.kind in kinds]
            for name in names:
                if name not in fitting:
                    raise _no_such_row(name, sheet, kinds, fitting, file.where(("size", index, key)))
        if row.between is not None and row.between[0] == row.between[1]:
            raise RuleMistake(
                f"{shown(row.name)} is between {shown(row.between[0])} and itself",
                where=file.where(("size", index, "between")),
                do="Name two different bores or bosses",
            )


def _named_by(row: SheetRow) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Each key of a row that names other rows, with those names."""
    yield "between", row.between or ()
    yield "of", (row.of,) if row.of is not None else ()
    yield "through", row.through or ()
    yield "datum", (row.datum,) if row.datum is not None else ()


def _no_such_row(name: str, sheet: Sheet, kinds: Sequence[str], fitting: Sequence[str], where: str) -> UnknownName:
    other = next((row.kind for row in sheet.rows if row.name == name), None)
    what = f"there is no row called {shown(name)}" if other is None else f"{shown(name)} is a row of kind '{other}'"
    meant = " or ".join([", ".join(kinds[:-1]), kinds[-1]] if len(kinds) > 1 else kinds)
    if not fitting:
        return UnknownName(what, where=where, do=f"Add the {meant} it means as a row of its own")
    choices = either(nearest_first(name, fitting))
    return UnknownName(what, where=where, do=f"Write {choices}, or add a row for the {meant} it means")


def _check_tolerances(sheet: Sheet, file: TomlFile) -> None:
    check_general_class(sheet, where=file.where(("general_tolerance",)))
    for index, row in enumerate(sheet.rows):
        limits_at(row, sheet, where=file.where(("size", index, "tolerance")))


def _check_readings(sheet: Sheet, rules: Rules, file: TomlFile) -> None:
    for index, row in enumerate(sheet.rows):
        reading_at(row, sheet, rules, where=file.where(("size", index, "reading")))
