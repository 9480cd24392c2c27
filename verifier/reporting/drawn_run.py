"""A run of values in one line of text: each at one of eight heights, those outside their limits marked."""

from collections.abc import Sequence

from rich.text import Text

HEIGHTS = "▁▂▃▄▅▆▇█"
# On a screen with nothing but ASCII the heights are digits.
ASCII_HEIGHTS = "12345678"
OUTSIDE = "yellow"


def draw_run(values: Sequence[float], limits: tuple[float, float] | None, *, ascii_only: bool) -> Text:
    """The values in their order, a character each.

    limits : the lowest and highest usual or allowed value; the drawing spans at least these
    """
    heights = ASCII_HEIGHTS if ascii_only else HEIGHTS
    low, high = min((*values, *(limits or ()))), max((*values, *(limits or ())))
    drawn = Text(no_wrap=True)
    for value in values:
        share = (value - low) / (high - low) if high > low else 0.5
        outside = limits is not None and not limits[0] <= value <= limits[1]
        drawn.append(heights[min(7, int(8 * share))], style=OUTSIDE if outside else "")
    return drawn
