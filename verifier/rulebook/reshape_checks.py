"""Whether the names in a sheet's reshapings are rows of it, and whether their order makes sense."""

import re
from collections.abc import Iterable, Sequence

from verifier.errors import RuleMistake, UnknownName
from verifier.rulebook.mistakes import either, nearest_first, shown
from verifier.rulebook.reshape_row import Reshape
from verifier.rulebook.sheet import Sheet
from verifier.rulebook.toml_file import TomlFile

PLANE = re.compile(r"plane [1-9]\d{0,3}")
FACE_WORDS = ("top", "bottom")


def check_reshapes(sheet: Sheet, file: TomlFile) -> None:
    """Raises UnknownName or RuleMistake at the line."""
    for index, each in enumerate(sheet.reshape):
        for key, names, choices in _named(each, sheet):
            for name in names:
                if name not in choices and not (key in ("face", "what") and PLANE.fullmatch(name)):
                    raise _unknown(name, key, choices, file.where(("reshape", index, key)))
        if each.between is not None and each.between[0] == each.between[1]:
            raise RuleMistake(
                f"this is between {shown(each.between[0])} and itself",
                where=file.where(("reshape", index, "between")),
                do="Name two different bores or bosses",
            )
    _check_order(sheet.reshape, file)


def check_load(sheet: Sheet, file: TomlFile) -> None:
    """See that the load goes between two bores or bosses of the sheet. Raises UnknownName at the line."""
    if sheet.load is not None and sheet.load_ends is None:
        round_rows = [row.name for row in sheet.rows if row.kind in ("bore", "boss")]
        known = f"; the bores and bosses are {', '.join(map(shown, round_rows))}" if round_rows else ""
        do = f'Write load = "between … and …" with two bores or bosses{known}'
        raise UnknownName(f"{shown(sheet.load)} names no two rows", where=file.where(("load",)), do=do)


def _named(each: Reshape, sheet: Sheet) -> Iterable[tuple[str, Sequence[str], list[str]]]:
    """Key, names in it, and what these may be."""
    round_rows = [row.name for row in sheet.rows if row.kind in ("bore", "boss")]
    yield "between", each.between or (), round_rows
    yield "worn", (each.worn,) if each.worn is not None else (), round_rows
    yield "face", (each.face,) if each.face is not None else (), list(FACE_WORDS)
    yield "what", each.what or (), [row.name for row in sheet.rows if row.kind == "bore"]
    walls = [row.name for row in sheet.rows if row.kind == "thickness"]
    yield "wall", (each.wall,) if each.wall is not None else (), walls


def _unknown(name: str, key: str, choices: list[str], where: str) -> UnknownName:
    what = f"{shown(name)} cannot stand for '{key}'"
    also = ", or a flat face by its name in the report, such as 'plane 3'" if key in ("face", "what") else ""
    if not choices:
        kind = "thickness" if key == "wall" else "bore"
        return UnknownName(what, where=where, do=f"Add a row of kind '{kind}' by that name{also}")
    return UnknownName(what, where=where, do=f"Write {either(nearest_first(name, choices))}{also}")


def _check_order(reshapes: Sequence[Reshape], file: TomlFile) -> None:
    """Letters would be mirrored with the part, and after a cut there is no one part any more."""
    doings = [each.do for each in reshapes]
    for index, do in enumerate(doings):
        if do == "cut" and index < len(doings) - 1:
            raise RuleMistake(
                f"'{doings[index + 1]}' comes after 'cut', when the part is in pieces",
                where=file.where(("reshape", index + 1)),
                do="Put 'cut' last, and only once",
            )
        if do in ("mirror", "restore") and "engrave" in doings[:index]:
            raise RuleMistake(
                f"'{do}' comes after 'engrave', and would turn the letters round",
                where=file.where(("reshape", index)),
                do="Put 'engrave' behind it",
            )
