"""The deviations drawn: colours of the part, the scale beside it, and how much of the surface is off by how much."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.inspection import DeviationTable, HistogramTable
from verifier.mesh import Array

# From inside to proud: blue and brown stay apart for every common kind of colour blindness, and both darken away from
# the middle, so that how far it is off shows on grey paper too.
ENDS = ((20, 72, 140), (236, 234, 226), (148, 62, 8))
NOT_COMPARED = 127
# The chart is 420 wide and 120 high above its axis.
WIDE, HIGH, GAP = 420.0, 120.0, 1.5


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the chart: where it stands, how high, its colour, and what it says."""

    left: float
    top: float
    width: float
    height: float
    colour: str
    words: str


@dataclass(frozen=True, slots=True)
class Chart:
    """The columns from most inside to most proud, and the figures at the two ends of the scale."""

    columns: tuple[Column, ...]
    limit: str


def chart_of(deviation: DeviationTable | None) -> Chart | None:
    """The chart; None where nothing was compared."""
    if deviation is None or deviation.histogram is None:
        return None
    spread = deviation.histogram
    tallest = max(*spread.shares, 1e-9)
    columns = tuple(_column(k, share, spread, tallest) for k, share in enumerate(spread.shares))
    return Chart(columns, f"{spread.limit_mm:g} mm")


def _column(step: int, share: float, spread: HistogramTable, tallest: float) -> Column:
    steps = len(spread.shares)
    width, height = WIDE / steps, HIGH * share / tallest
    low_mm, high_mm = ((2 * at / steps - 1) * spread.limit_mm for at in (step, step + 1))
    words = f"{low_mm:+.3f} to {high_mm:+.3f} mm: {100 * share:.1f} %"
    colour = "#{:02x}{:02x}{:02x}".format(*ramp(steps)[step])
    return Column(
        round(step * width, 2), round(HIGH - height, 2), round(width - GAP, 2), round(height, 2), colour, words
    )


def ramp(steps: int) -> list[tuple[int, int, int]]:
    """Colours from most inside to most proud; an odd number, the middle one pale."""
    inside, pale, proud = np.array(ENDS, dtype=np.float64)
    way = np.linspace(-1, 1, steps)[:, None]
    mixed = np.where(way < 0, pale + (inside - pale) * -way, pale + (proud - pale) * way)
    return [(int(r), int(g), int(b)) for r, g, b in np.rint(mixed)]


def steps_of(away_mm: Array, spread: HistogramTable) -> NDArray[np.uint8]:
    """The colour of every corner of the picture, (n,): its step on the scale, NOT_COMPARED for NaN."""
    steps = len(spread.shares)
    at = np.clip((away_mm + spread.limit_mm) * steps / (2 * spread.limit_mm), 0, steps - 1)
    return np.where(np.isnan(at), NOT_COMPARED, np.nan_to_num(at)).astype(np.uint8)
