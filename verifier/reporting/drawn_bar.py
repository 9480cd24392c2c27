"""The bar of a size drawn with characters."""

from dataclasses import dataclass

from verifier.reporting.bar import Bar


@dataclass(frozen=True, slots=True)
class Strokes:
    """What a bar is drawn with."""

    ends: str
    guard: str
    free: str
    aim: str
    mark: str
    below: str
    above: str


UNICODE = Strokes(ends="├┤", guard="░", free="─", aim="┼", mark="●", below="◄", above="►")
ASCII = Strokes(ends="[]", guard=":", free="-", aim="+", mark="#", below="<", above=">")


def draw_bar(bar: Bar, cells: int, strokes: Strokes) -> str:
    """A line of `cells` characters: the limits at its ends, the guard bands shaded, the size as a mark.

    One cell outside either end is kept for a size beyond that limit.
    """
    inner = cells - 4
    line = _ground(bar, inner, strokes)
    if bar.aim is not None and 0 <= bar.aim <= 1:
        line[_cell(bar.aim, inner)] = strokes.aim
    if 0 <= bar.at <= 1:
        line[_cell(bar.at, inner)] = strokes.mark
    below = strokes.below if bar.at < 0 else " "
    above = strokes.above if bar.at > 1 else " "
    return f"{below}{strokes.ends[0]}{''.join(line)}{strokes.ends[1]}{above}"


def _ground(bar: Bar, inner: int, strokes: Strokes) -> list[str]:
    """The cells between the limits; a guard band too thin for a cell still gets one, for it is there."""
    band = 0 if bar.guard == 0 else max(1, round(bar.guard * inner))
    near = [inner - 1 - k if bar.one_sided else min(k, inner - 1 - k) for k in range(inner)]
    return [strokes.guard if cells < band else strokes.free for cells in near]


def _cell(at: float, inner: int) -> int:
    return min(int(at * inner), inner - 1)
