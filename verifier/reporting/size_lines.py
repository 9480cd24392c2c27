"""The table of sizes for the terminal: one line a row, its columns as wide as their contents ask."""

from collections.abc import Callable
from dataclasses import dataclass

from rich.cells import cell_len
from rich.table import Table
from rich.text import Text

from verifier.inspection import SizeTable
from verifier.reporting.bar import bar_of
from verifier.reporting.drawn_bar import Strokes, draw_bar
from verifier.reporting.words import figure, row_notes, wanted_in_words

STYLE_OF = {"PASS": "green", "FAIL": "bold red", "UNDECIDED": "yellow", "REFUSED": "bold red"}

# A bar of eleven cells still tells the two guard bands from the middle; past 45 it grows without telling more.
LEAST_BAR, MOST_BAR = 11, 45
LEAST_NAME, MOST_NAME = 12, 40
GAP = "  "
HEADS = ("reading", "scan", "true", "off", "±")

Clean = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Columns:
    """Widths of the columns; `figures` are those of the five columns of numbers."""

    number: int
    name: int
    figures: tuple[int, ...]
    bar: int

    @property
    def indent(self) -> int:
        """Where names begin."""
        return 1 + self.number + len(GAP)


def hanging(marker: str | Text, text: str | Text, indent: int, style: str = "") -> Table:
    """A paragraph whose first line has a marker in its indent and whose other lines stand under its text."""
    grid = Table.grid(padding=0)
    grid.add_column(width=indent, no_wrap=True)
    grid.add_column(overflow="fold", style=style)
    grid.add_row(marker, text if isinstance(text, Text) else Text(text))
    return grid


def size_lines(sizes: tuple[SizeTable, ...], width: int, clean: Clean, strokes: Strokes) -> list[Table | Text]:
    """The table. Where one line cannot hold a row it takes two, without the bar."""
    columns = columns_for(sizes, width, clean)
    if columns is None:
        return [part for number, size in enumerate(sizes, 1) for part in _narrow_row(number, size, clean)]
    heads = _line(columns, "", clean("size, mm"), tuple(map(clean, HEADS)), "", "")
    heads.stylize("dim")
    rows = [part for number, size in enumerate(sizes, 1) for part in _row(number, size, columns, clean, strokes)]
    return [heads, *rows]


def columns_for(sizes: tuple[SizeTable, ...], width: int, clean: Clean) -> Columns | None:
    """Columns that fit the width, or None when a row cannot stand on one line."""
    rows = [tuple(map(clean, texts)) for texts in (HEADS, *map(figures_of, sizes))]
    figures = tuple(max(cell_len(row[k]) for row in rows) for k in range(len(HEADS)))
    number, verdict = len(str(len(sizes))), max(len(size.verdict) for size in sizes)
    free = width - (1 + number + sum(figures) + verdict + len(GAP) * (len(HEADS) + 3))
    longest = max(cell_len(clean(size.name)) for size in sizes)
    name = max(LEAST_NAME, min(longest, MOST_NAME, free - LEAST_BAR))
    bar = min(MOST_BAR, free - name)
    return Columns(number, name, figures, bar) if bar >= LEAST_BAR else None


def figures_of(size: SizeTable) -> tuple[str, ...]:
    """The five numbers of a row: wanted, on the scan, corrected, deviation, expanded uncertainty."""
    return (
        wanted_in_words(size),
        figure(size.measured_mm, 2),
        figure(size.corrected_mm),
        figure(size.deviation_mm, signed=True),
        figure(size.expanded_uncertainty_mm),
    )


def _row(number: int, size: SizeTable, columns: Columns, clean: Clean, strokes: Strokes) -> list[Table | Text]:
    """A row; a name too long for its column stands on a line of its own above its figures."""
    name, figures = clean(size.name), tuple(map(clean, figures_of(size)))
    bar = bar_of(size)
    drawn = draw_bar(bar, columns.bar, strokes) if bar else ""
    if cell_len(name) <= columns.name:
        return [_line(columns, str(number), name, figures, drawn, size.verdict), *_notes(size, columns.indent, clean)]
    above = hanging(f" {number:>{columns.number}}", name, columns.indent)
    return [above, _line(columns, "", "", figures, drawn, size.verdict), *_notes(size, columns.indent, clean)]


def _line(columns: Columns, number: str, name: str, figures: tuple[str, ...], bar: str, verdict: str) -> Text:
    line = Text(f" {number:>{columns.number}}{GAP}{_left(name, columns.name)}", no_wrap=True)
    for text, cells in zip(figures, columns.figures, strict=True):
        line.append(GAP + " " * (cells - cell_len(text)) + text)
    line.append(GAP + _left(bar, columns.bar) + GAP + verdict, style=STYLE_OF.get(verdict, ""))
    line.rstrip()
    return line


def _left(text: str, cells: int) -> str:
    return text + " " * (cells - cell_len(text))


def _narrow_row(number: int, size: SizeTable, clean: Clean) -> list[Table | Text]:
    indent = 4
    head = Text.assemble((size.verdict, STYLE_OF[size.verdict]), GAP, clean(size.name))
    figures = ", ".join(f"{head} {text}" for head, text in zip(HEADS, figures_of(size), strict=True))
    return [hanging(f"{number:>2}", head, indent), hanging("", clean(figures), indent), *_notes(size, indent, clean)]


def _notes(size: SizeTable, indent: int, clean: Clean) -> list[Table | Text]:
    notes = "; ".join(clean(note) for note in row_notes(size))
    return [hanging("", notes, indent, style="italic")] if notes else []
