"""The sheet of paper that goes to the printer with the mesh: what the page prints, worked out for its template."""

import base64
from dataclasses import dataclass
from typing import Literal

from verifier.inspection import BoreTable, Inspection, SizeTable
from verifier.reporting.words import unit_of
from verifier.rulebook.size_kinds import IN_DEGREES

# More rows than this do not fit one sheet of A4 beside the pictures; what has not passed goes first.
MOST_SIZES = 24
# Counted on the printed sheet: letters in half its width and in a name before it breaks, what a row of a table takes
# with its rule, lines that always stand under 'Print' and the headings; and the lines there is room for below the
# pictures in the usual type (8.5 pt) and the small one (7.2 pt).
LETTERS_IN_A_LINE, LETTERS_IN_A_NAME = 50, 18
ROW_LINES, LINES_OF_PRINTING = 1.3, 14
USUAL_LINES, SMALL_LINES = 46, 66


@dataclass(frozen=True, slots=True)
class PaperSize:
    """One size as it stands on paper."""

    number: int
    name: str
    limits: str
    printed: str
    verdict: str


@dataclass(frozen=True, slots=True)
class PaperBore:
    """One line of the drill list."""

    name: str
    made_for: str
    printed: str
    drill: str


@dataclass(frozen=True, slots=True)
class Paper:
    """What the page prints, one sheet of A4.

    stills : the part from two sides, as addresses that hold the picture
    left_out : how many sizes, all of them passed, found no room
    type_size : the largest of three in which it all fits one sheet
    """

    stills: tuple[str, ...]
    sizes: tuple[PaperSize, ...]
    left_out: int
    bores: tuple[PaperBore, ...]
    type_size: Literal["usual", "small", "smallest"]


def paper_of(told: Inspection, pngs: tuple[bytes, ...]) -> Paper:
    """The sheet of paper of one inspection and its stills."""
    numbered = [_size(number, size) for number, size in enumerate(told.sizes, 1)]
    first = sorted(numbered, key=lambda size: (size.verdict == "PASS", size.number))[:MOST_SIZES]
    bores = tuple(_bore(bore) for bore in told.bores if bore.rebuilt or bore.drill_mm is not None)
    return Paper(
        stills=tuple("data:image/png;base64," + base64.b64encode(png).decode() for png in pngs),
        sizes=tuple(sorted(first, key=lambda size: size.number)),
        left_out=len(numbered) - len(first),
        bores=bores,
        type_size=_type_size(_lines(told, [size.name for size in first], len(bores))),
    )


def _lines(told: Inspection, names: list[str], bores: int) -> float:
    """About how many lines the sheet needs below its pictures: two columns, then the cautions."""
    sizes = sum(ROW_LINES + len(name) // LETTERS_IN_A_NAME for name in names)
    beside = (
        sum(_lines_of(text) for text in (*told.next_steps, *told.print.notes)) + ROW_LINES * bores + LINES_OF_PRINTING
    )
    cautions = sum(_lines_of(text) for text in (*told.cautions, *told.print.cautions))
    return max(sizes, beside) + cautions / 2


def _lines_of(text: str) -> int:
    return 1 + len(text) // LETTERS_IN_A_LINE


def _type_size(lines: float) -> Literal["usual", "small", "smallest"]:
    if lines <= USUAL_LINES:
        return "usual"
    return "small" if lines <= SMALL_LINES else "smallest"


def _size(number: int, size: SizeTable) -> PaperSize:
    printed = "–" if size.printed_mm is None else f"{size.printed_mm:.2f}"
    return PaperSize(number, size.name, _limits(size), printed, size.verdict)


def _limits(size: SizeTable) -> str:
    """'11.85 to 12.15': the calliper in the hand reads hundredths."""
    if size.tolerance_mm is None:
        return "" if size.measured_mm is None else f"about {size.measured_mm:.1f}{unit_of(size)}"
    least, greatest = size.tolerance_mm
    return f"{least:.2f} to {greatest:.2f}" + ("°" if size.kind in IN_DEGREES else "")


def _bore(bore: BoreTable) -> PaperBore:
    printed = "filled" if bore.printed_diameter_mm is None else f"Ø {bore.printed_diameter_mm:.2f}"
    drill = "–" if bore.drill_mm is None else f"{bore.drill_mm:g} mm"
    return PaperBore(bore.row or bore.name, bore.made_for or "as scanned", printed, drill)
