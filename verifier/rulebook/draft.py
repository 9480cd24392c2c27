"""A dimension sheet to fill in, for a part that nobody has measured yet."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import tomlkit

from verifier.rulebook.sheet import SizeKind
from verifier.rulebook.size_kinds import unit_of

HEAD = """\
# Dimension sheet of {part}, drafted from a scan.
# Measure the cleaned original with the calliper and fill in every reading, in millimetres (angles in degrees), with a
# point: reading = 24.06, and take the '#' before it away. Leave out what you cannot reach; take rows out, or add some.
# Then save: the scan that was held goes on by itself.
# The rows stand in the order of what a reading is worth; the first four tell the scanner's scale from powder.
"""

KEYS = """
# Known only for certain: unit = "mm"     Named in the rules: filament, printer, calliper = "…"
# What a copy may differ where a row says nothing; tolerance = 0.15 in a row goes before it:
general_tolerance = "ISO 2768-m"
# A bore may say what it is for, and is then rebuilt for it: use = "true" (round, at its reading), or
# use = "slides" (or "threads", "insert", "drill") with screw = "M4".
"""


# How a size is read, where a word about it helps.
GAUGED: dict[str, str] = {
    "bore": 'gauged = "inside jaws"   # or "pin"',
    "countersink diameter": 'gauged = "inside jaws"   # across the rim',
    "counterbore diameter": 'gauged = "inside jaws"   # or "pin"',
    "counterbore depth": 'gauged = "depth rod"',
}


class Drafted(Protocol):
    """A row to be, with the scan's own value: mm, degrees for an angle."""

    @property
    def name(self) -> str: ...  # noqa: D102
    @property
    def kind(self) -> SizeKind: ...  # noqa: D102
    @property
    def measured_mm(self) -> float: ...  # noqa: D102
    @property
    def between(self) -> tuple[str, str] | None: ...  # noqa: D102
    @property
    def of(self) -> str | None: ...  # noqa: D102
    @property
    def along(self) -> str | None: ...  # noqa: D102
    @property
    def through(self) -> tuple[str, ...] | None: ...  # noqa: D102
    @property
    def worth(self) -> str: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class DraftRow:
    """One size worth measuring; between, of, along and through as in a sheet's row; worth is a remark in the sheet."""

    name: str
    kind: SizeKind
    measured_mm: float
    between: tuple[str, str] | None = None
    of: str | None = None
    along: str | None = None
    through: tuple[str, ...] | None = None
    worth: str = ""


def draft_sheet_text(part: str, rows: Sequence[Drafted]) -> str:
    """A sheet with every row named and no reading yet; load_sheet takes it as it stands.

    The scan's own sizes stand in remarks: they help to find the place, and are no readings.
    """
    head = HEAD.format(part="".join(letter for letter in part if letter.isprintable()))
    return "\n".join([head, f"part = {_quoted(part)}", KEYS, *(_row_text(row) for row in rows)])


def _row_text(row: Drafted) -> str:
    unit = unit_of(row.kind)
    lines = [f"# {row.worth}"] if row.worth else []
    lines += ["[[size]]", f"name = {_quoted(row.name)}", f"kind = {_quoted(row.kind)}"]
    if row.between is not None:
        lines.append(f"between = [{_quoted(row.between[0])}, {_quoted(row.between[1])}]")
    if row.of is not None:
        lines.append(f"of = {_quoted(row.of)}")
    if row.along is not None:
        lines.append(f"along = {_quoted(row.along)}")
    if row.through is not None:
        lines.append(f"through = [{', '.join(_quoted(name) for name in row.through)}]")
    if row.kind in GAUGED:
        lines.append(GAUGED[row.kind])
    lines.append(f"# reading =    # {unit}; on the scan {row.measured_mm:.2f}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # A file name that is no UTF-8 comes with half characters, which no file can hold.
    return tomlkit.string(text.encode("utf-8", "replace").decode()).as_string()
