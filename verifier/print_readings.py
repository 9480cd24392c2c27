"""Calliper readings of a print, from a file or row by row from the person."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from verifier.errors import RuleMistake, UnknownName, WrongUsage
from verifier.learning.kept_print import Condition
from verifier.learning.row import PrintRow
from verifier.rulebook.mistakes import either, nearest_first, shown
from verifier.rulebook.toml_file import MAX_BYTES, read_toml

CONDITIONS: tuple[Condition, ...] = ("dry", "conditioned")
MOST_MM = 10_000.0
# A reading this far from what was expected is asked for again: no print is off by as much, a slip of the finger is.
SURPRISING_MM, SURPRISING_SHARE = 1.0, 0.03

Ask = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Readings:
    """What was read on one print.

    by_row : row's name -> reading, mm; condition : as the file says, None where it says nothing
    """

    by_row: Mapping[str, float]
    condition: Condition | None = None


def readings_in(path: Path, rows: Sequence[PrintRow]) -> Readings:
    """The readings of a file: TOML with a table [readings], or CSV with a name and a reading a line.

    Raises RuleMistake or UnknownName with the file, and the line where there is one.
    """
    found = _of_toml(path) if path.suffix.lower() == ".toml" else _of_csv(path)
    for name in found.by_row:
        _known(name, rows, path.name)
    if not found.by_row:
        raise RuleMistake("there is no reading in it", where=path.name, do=f"Write a line {rows[0].name!r} = its size")
    return found


def _of_toml(path: Path) -> Readings:
    file = read_toml(path)
    odd = set(file.values) - {"readings", "condition"}
    table, condition = file.values.get("readings"), file.values.get("condition")
    if odd or not isinstance(table, dict):
        do = 'Write [readings], and under it a line "name of the row" = reading; above it condition = "dry" for a nylon'
        raise RuleMistake("it is no file of readings", where=path.name, do=do)
    if condition is not None and condition not in CONDITIONS:
        raise RuleMistake(
            f"the condition {shown(condition)} is not known", where=file.where(("condition",)), do=_say_condition()
        )
    by_row = {name: _as_reading(value, file.where(("readings", name))) for name, value in table.items()}
    return Readings(by_row, next((known for known in CONDITIONS if known == condition), None))


def _of_csv(path: Path) -> Readings:
    by_row: dict[str, float] = {}
    text = _text_of(path)
    lines = csv.reader(io.StringIO(text), delimiter=";" if ";" in text else ",")
    for number, cells in enumerate(lines, 1):
        filled = [cell.strip() for cell in cells if cell.strip()]
        if not filled or (number == 1 and _number(filled[-1]) is None):  # an empty line, or the head
            continue
        where = f"{path.name}, line {number}"
        if len(filled) != 2:
            raise RuleMistake("this line is no name and reading", where=where, do="Write name,reading on each line")
        if filled[0] in by_row:
            raise RuleMistake(f"{shown(filled[0])} is there twice", where=where, do="Take one of the two out")
        by_row[filled[0]] = _as_reading(filled[1], where)
    return Readings(by_row)


def _text_of(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            raise RuleMistake("the file is larger than 1 MiB", where=path.name, do="Keep readings in it, no more")
        return data.decode("utf-8-sig")
    except OSError as error:
        what = f"the file cannot be opened ({error.strerror})"
        raise RuleMistake(what, where=path.name, do="See that it is there and may be read") from error
    except UnicodeDecodeError as error:
        raise RuleMistake("it is no text in UTF-8", where=path.name, do="Save it as UTF-8") from error


def _known(name: str, rows: Sequence[PrintRow], where: str) -> None:
    names = [row.name for row in rows]
    if name not in names:
        what = f"{shown(name)} is no size that can be read on this print"
        raise UnknownName(what, where=where, do=f"Write {either(nearest_first(name, names))}")


def _as_reading(value: object, where: str) -> float:
    number = _number(value)
    if number is None or not 0.0 < number < MOST_MM:
        raise RuleMistake(f"{shown(value)} is no reading in millimetres", where=where, do="Write it as 59.98")
    return number


def _number(value: object) -> float | None:
    """A number, also one with a decimal comma; None for anything else."""
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        return None
    try:
        return float(value.replace(",", ".") if isinstance(value, str) else value)
    except ValueError:
        return None


def readings_asked(
    rows: Sequence[PrintRow], wanted: Mapping[str, str], ask: Ask, tell: Callable[[str], None]
) -> Readings:
    """Ask for every row in turn; Enter leaves one out, '<' goes back to the one before, 'end' leaves the rest out."""
    tell("Type each reading in millimetres. Enter: not measured. <: back by one. end: that was all.")
    by_row: dict[str, float] = {}
    at = 0
    while at < len(rows):
        row = rows[at]
        answer = ask(f"{at + 1} of {len(rows)}  {row.name} ({row.kind}, wanted {wanted.get(row.name, '–')})").strip()
        if answer == "end":
            break
        if answer == "<":
            at = max(0, at - 1)
            continue
        if answer == "":
            by_row.pop(row.name, None)
            at += 1
            continue
        number = _number(answer)
        if number is None or not 0.0 < number < MOST_MM:
            tell(f"'{answer}' is no reading in millimetres. Write it as 59.98")
            continue
        if (
            _surprises(number, row)
            and ask(f"   {number:g} is {number - row.expected_mm:+.2f} mm off. Is it right? y/n") != "y"
        ):
            continue
        by_row[row.name] = number
        at += 1
    return Readings(by_row)


def made_otherwise(row: PrintRow, wanted_mm: float) -> bool:
    """Whether a size is another one on the print than on the original: a part made longer, a bore made for a screw.

    A rebuilt bore is known exactly in the mesh.
    """
    return (row.kind == "bore" and row.u_model_mm == 0.0) or _surprises(wanted_mm, row)


def _surprises(number: float, row: PrintRow) -> bool:
    return abs(number - row.expected_mm) > max(SURPRISING_MM, SURPRISING_SHARE * row.expected_mm)


def condition_asked(ask: Ask, polymer: str) -> Condition:
    """Whether a nylon was read dry, or after it had taken up the room's water."""
    question = f"{polymer} grows as it takes up water. Was the print dry (d) or had it lain in the room for weeks (r)?"
    while True:
        answer = ask(question).strip().lower()
        if answer[:1] in ("d", "r"):
            return "dry" if answer[0] == "d" else "conditioned"


def refuse_unsaid_condition(polymer: str) -> WrongUsage:
    """A nylon's readings without their condition would teach the wrong figure."""
    what = f"{polymer} grows by up to 0.7 % as it takes up water, and nothing says whether the print was dry"
    return WrongUsage(what, where="--condition", do=_say_condition())


def _say_condition() -> str:
    return "Say dry when it was read fresh from the printer, conditioned when it had lain in the room for weeks"
