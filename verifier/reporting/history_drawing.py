"""Places of points and lines in the drawings of the history page, in the units of their own view box."""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.learning.advice import as_told_with_u
from verifier.learning.figures import Known
from verifier.remembering.control_chart import IN_WORDS, Chart
from verifier.remembering.past import SizePast
from verifier.remembering.scanner import ScannerPast

WIDE, TALL, EDGE = 720.0, 220.0, 26.0
RUN_WIDE, RUN_TALL, RUN_EDGE = 200.0, 44.0, 6.0


@dataclass(frozen=True, slots=True)
class Mark:
    """One value. low, high : ends of its expanded uncertainty; words : what it is, for a pointer or a reader."""

    x: float
    y: float
    low: float
    high: float
    out: bool
    words: str


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line. kind : 'centre', 'limit'; words : its label, '' for none."""

    y: float
    kind: str
    words: str


@dataclass(frozen=True, slots=True)
class Drawing:
    """Marks in their order and the levels behind them; words : the drawing as a sentence."""

    wide: float
    tall: float
    marks: tuple[Mark, ...]
    levels: tuple[Level, ...]
    words: str

    @property
    def path(self) -> str:
        """The line from mark to mark."""
        return " ".join(f"{'L' if k else 'M'}{mark.x:.1f} {mark.y:.1f}" for k, mark in enumerate(self.marks))


def scanner_drawing(past: ScannerPast) -> Drawing:
    """The control chart: value, centre, limits, and the values where a pattern becomes complete."""
    chart, points = past.chart, past.points
    levels = _heights(past) if chart is None else _limits(chart)
    told: dict[int, list[str]] = {}
    for signal in () if chart is None else chart.signals:
        told.setdefault(signal.at, []).append(IN_WORDS[signal.rule])
    ends = [point.percent + side * 2 * point.u_percent for point in points for side in (-1, 1)]
    place = _Scale([*ends, *(value for value, _ in levels)], TALL, EDGE)
    step = (WIDE - 2 * EDGE - 60) / max(1, len(points) - 1)
    marks = tuple(
        Mark(
            x=EDGE + step * k,
            y=place(point.percent),
            low=place(point.percent - 2 * point.u_percent),
            high=place(point.percent + 2 * point.u_percent),
            out=k in told,
            words="; ".join(
                (f"{point.day}, {point.part}: {point.percent:+.2f} % ± {2 * point.u_percent:.2f} %", *told.get(k, ()))
            ),
        )
        for k, point in enumerate(points)
    )
    lines = tuple(Level(place(value), kind, f"{value:+.2f} %") for value, kind in levels)
    words = f"Scale of {len(points)} scans in their order" + (", with centre and limits" if chart else "")
    return Drawing(WIDE, TALL, marks, lines, words)


def _limits(chart: Chart) -> tuple[tuple[float, str], ...]:
    return (chart.lower, "limit"), (chart.centre, "centre"), (chart.upper, "limit")


def _heights(past: ScannerPast) -> tuple[tuple[float, str], ...]:
    """Nought and the ends of what there is, so that the figures can be read before limits are drawn."""
    values = [point.percent for point in past.points]
    return tuple((value, "height") for value in sorted({0.0, min(values), max(values)}))


def size_drawing(size: SizePast) -> Drawing:
    """One row from scan to scan, with its expanded uncertainty and its limits."""
    limits = [value for value in (size.least, size.greatest) if value is not None]
    values = [
        (point.value, point.expanded_u, f"{point.day}: {point.value:.3f} ± {point.expanded_u:.3f}")
        for point in size.points
    ]
    return _run(values, limits)


def figure_drawing(known: Known) -> Drawing:
    """One figure of a filament from print to print with its expanded uncertainty, and where the next is expected."""
    pooled = known.pooled
    ends = [] if pooled is None else [pooled.value + side * pooled.next_half_width for side in (-1, 1)]
    values = [
        (term.value, 2 * term.u, f"print {number}: {as_told_with_u(known.name, term.value, 2 * term.u)}")
        for number, term in known.single.items()
    ]
    return _run(values, ends)


def _run(values: Sequence[tuple[float, float, str]], limits: Sequence[float]) -> Drawing:
    """Values with their expanded uncertainty and their words, between two limits where there are any."""
    ends = [value + side * u for value, u, _ in values for side in (-1, 1)]
    place = _Scale([*ends, *limits], RUN_TALL, RUN_EDGE)
    step = (RUN_WIDE - 2 * RUN_EDGE) / max(1, len(values) - 1)
    marks = tuple(
        Mark(
            x=RUN_EDGE + step * k,
            y=place(value),
            low=place(value - u),
            high=place(value + u),
            out=bool(limits) and not limits[0] <= value <= limits[-1],
            words=words,
        )
        for k, (value, u, words) in enumerate(values)
    )
    told = "; ".join(mark.words for mark in marks)
    return Drawing(RUN_WIDE, RUN_TALL, marks, tuple(Level(place(value), "limit", "") for value in limits), told)


class _Scale:
    """Height of a value in a drawing whose upper edge is 0."""

    def __init__(self, values: Sequence[float], tall: float, edge: float) -> None:
        self._low, self._high = min(values), max(values)
        self._tall, self._edge = tall, edge

    def __call__(self, value: float) -> float:
        span = self._high - self._low
        share = (value - self._low) / span if span > 0.0 else 0.5
        return self._tall - self._edge - share * (self._tall - 2 * self._edge)
