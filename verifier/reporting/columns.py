"""Tables of figures for the terminal: columns as wide as their contents; a row too long for the screen is stacked."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.cells import cell_len
from rich.console import RenderableType
from rich.text import Text

from verifier.reporting.size_lines import STYLE_OF, Clean, hanging

GAP = "  "
# A text column may be folded, but not to less than this.
LEAST_TEXT = 14


@dataclass(frozen=True, slots=True)
class Columns:
    """A table.

    heads : (c,) ; rows : each (c,) ; left : heads of the columns that hold words, the others hold figures
    The last column, where it holds words, takes what room is left and may be folded.
    """

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left: frozenset[str]


def column_lines(table: Columns, width: int, clean: Clean) -> list[RenderableType]:
    """The table, no line wider than `width`; one entry a row below the other where its columns do not fit."""
    cells = [tuple(map(clean, row)) for row in (table.heads, *table.rows)]
    widths = [max(cell_len(row[k]) for row in cells) for k in range(len(table.heads))]
    fold = table.heads[-1] in table.left
    fixed = 1 + sum(widths[:-1]) + len(GAP) * (len(widths) - 1)
    if fixed + (min(widths[-1], LEAST_TEXT) if fold else widths[-1]) > width:
        return [line for row in cells[1:] for line in _stacked(cells[0], row)]
    lines = [_line(row, widths, table, fixed) for row in cells]
    return [hanging(_dim(lines[0][0]), _dim(lines[0][1]), fixed), *(hanging(*line, fixed) for line in lines[1:])]


def _line(row: Sequence[str], widths: Sequence[int], table: Columns, fixed: int) -> tuple[Text, Text]:
    """All columns but the last as the marker of a hanging paragraph, and the last as its text."""
    padded = [
        _padded(text, cells, left=head in table.left)
        for text, cells, head in zip(row, widths, table.heads, strict=True)
    ]
    marker = Text(" " + GAP.join(padded[:-1]), no_wrap=True)
    last = row[-1] if table.heads[-1] in table.left else padded[-1]
    return marker, Text(last, style=STYLE_OF.get(last.strip().split(" ")[0].rstrip("."), ""))


def _padded(text: str, cells: int, *, left: bool) -> str:
    space = " " * (cells - cell_len(text))
    return text + space if left else space + text


def _dim(text: Text) -> Text:
    text.stylize("dim")
    return text


def _stacked(heads: Sequence[str], row: Sequence[str]) -> Iterable[RenderableType]:
    told = ", ".join(f"{head} {text}" for head, text in zip(heads[1:], row[1:], strict=True) if text)
    yield hanging(" ", Text(row[0], style="bold"), 1)
    yield hanging("", told, 3)


def titled(title: str, parts: Sequence[RenderableType]) -> list[RenderableType]:
    """A heading above its parts; nothing at all when there are none."""
    return [Text(), Text(f" {title}", style="bold"), *parts] if parts else []


def dashed(lines: Iterable[str], clean: Clean, style: str = "") -> list[RenderableType]:
    """Sentences, each with a dash."""
    return [hanging("   -", clean(line), 5, style=style) for line in lines]
