"""The page's table of sizes and its legend, worked out so that the template only has to place them."""

from dataclasses import dataclass
from typing import Literal

from verifier.inspection import SizeTable
from verifier.mending.solid import Origin
from verifier.reporting.bar import Bar, bar_of
from verifier.reporting.shown import JOINED, ShownMesh
from verifier.reporting.words import (
    figure,
    limits_in_words,
    misreading_in_words,
    row_notes,
    share,
    unit_of,
    wanted_in_words,
)
from verifier.rulebook.size_kinds import IN_DEGREES

# The drawing is 160 wide; the limits stand in from its ends, so that a size somewhat outside still has its place.
LEFT, RIGHT, WIDTH = 25.0, 135.0, 160.0


@dataclass(frozen=True, slots=True)
class DrawnBar:
    """A bar in the units of its drawing, 160 wide; `beyond` where the size lies outside the drawing."""

    at: float
    aim: float | None
    guard: float
    one_sided: bool
    spread_from: float
    spread_to: float
    beyond: Literal["", "below", "above"]
    words: str
    left: float = LEFT
    right: float = RIGHT


@dataclass(frozen=True, slots=True)
class PageRow:
    """One row of the table, its figures as text."""

    number: int
    size: SizeTable
    notes: tuple[str, ...]
    wanted: str
    corrected: str
    off: str
    limits: str
    printed: tuple[str, ...]
    bar: DrawnBar | None


@dataclass(frozen=True, slots=True)
class Surface:
    """One kind of surface for the legend."""

    words: str
    colour: str
    dark: str
    texture: str


def page_rows(sizes: tuple[SizeTable, ...]) -> tuple[PageRow, ...]:
    """The rows in the sheet's order, numbered from one as the callouts are."""
    return tuple(_row(number, size) for number, size in enumerate(sizes, 1))


def _row(number: int, size: SizeTable) -> PageRow:
    bar, turn = bar_of(size), "°" if size.kind in IN_DEGREES else ""
    off = "–" if size.deviation_mm is None else f"{figure(size.deviation_mm, signed=True)}{turn}"
    spread = "" if size.expanded_uncertainty_mm is None else f" ± {figure(size.expanded_uncertainty_mm)}"
    return PageRow(
        number,
        size,
        _notes(size),
        wanted=wanted_in_words(size),
        corrected=figure(size.corrected_mm),
        off=off + spread,
        limits=limits_in_words(size),
        printed=_printed(size),
        bar=None if bar is None else _drawn(bar, size),
    )


def _notes(size: SizeTable) -> tuple[str, ...]:
    measured = "" if size.measured_mm is None else f"{figure(size.measured_mm)}{unit_of(size)} on the scan"
    limits = size.tolerance_source.split(" (")[0]  # the class; its source stands under 'Figures from'
    notes = (*row_notes(size), measured, limits, _seen(size), misreading_in_words(size))
    return tuple(note for note in notes if note)


def _printed(size: SizeTable) -> tuple[str, ...]:
    """What the print will measure, on two lines to keep the column narrow."""
    if size.printed_mm is None:
        return ("–",)
    spread = figure(size.printed_expanded_uncertainty_mm)
    return f"{figure(size.printed_mm)} ± {spread}", size.printed_verdict or ""


def _seen(size: SizeTable) -> str:
    return "" if size.seen_share is None or size.seen_share >= 0.995 else f"seen over {share(size.seen_share)} of it"


def _drawn(bar: Bar, size: SizeTable) -> DrawnBar:
    at = _place(bar.at)
    return DrawnBar(
        at=at,
        aim=None if bar.aim is None or not 0 <= bar.aim <= 1 else _place(bar.aim),
        guard=round(bar.guard * (RIGHT - LEFT), 1),
        one_sided=bar.one_sided,
        spread_from=max(0.0, _place(bar.at - bar.spread)),
        spread_to=min(WIDTH, _place(bar.at + bar.spread)),
        beyond="below" if at < 5 else "above" if at > WIDTH - 5 else "",
        words=f"{figure(size.corrected_mm)} of {limits_in_words(size)}",
    )


def _place(share_of_tolerance: float) -> float:
    return round(LEFT + share_of_tolerance * (RIGHT - LEFT), 1)


_STRIPES = "M-2 8 L8 -2 M4 18 L22 0 M16 20 L30 6"
_BARS = "M3 0 V16 M9 0 V16 M15 0 V16 M21 0 V16"
_DOTS = "M3 4 h3 M11 4 h3 M19 4 h3 M3 12 h3 M11 12 h3 M19 12 h3"
# The same colours and textures as in solid_view.js.
_LOOKS: dict[int, Surface] = {
    Origin.MEASURED: Surface("measured", "#d6d3cb", "#8d8b86", ""),
    Origin.FILLED: Surface("filled in, striped", "#e48a14", "#965b0d", _STRIPES),
    Origin.REBUILT: Surface("rebuilt, dotted", "#3a84c8", "#265784", _DOTS),
    JOINED: Surface("seam between scans, barred", "#764686", "#4e2e58", _BARS),
}


def surfaces(*shown: ShownMesh | None) -> tuple[Surface, ...]:
    """The kinds of surface there are in the pictures; their shares are told of the solid, which has all triangles."""
    there = {origin for each in shown if each is not None for origin in _LOOKS if (each.origin == origin).any()}
    return tuple(look for origin, look in _LOOKS.items() if origin in there)
