"""The scanner over the months: the scale factor of every scan that could tell it."""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.remembering.control_chart import IN_WORDS, Chart, chart_of

# A scale told less surely says what was expected of it, not what it was: a sheet that cannot tell scale from powder
# leaves 0.3 to 0.5 %, one of eight readings 0.02 to 0.05 %.
MOST_U = 0.001

# A pattern older than this many scans has been seen before.
RECENT = 8


@dataclass(frozen=True, slots=True)
class ScalePoint:
    """One scan's scale: percent is how much too large it came out, u_percent its standard uncertainty."""

    job: int
    part: str
    day: str
    percent: float
    u_percent: float


@dataclass(frozen=True, slots=True)
class ScannerPast:
    """The scanner over the months.

    points : scans that told the scale; left_out : how many did not
    chart : None while there are fewer than eight; warning : '' while nothing has moved
    """

    points: tuple[ScalePoint, ...]
    left_out: int
    chart: Chart | None
    warning: str


def scanner_past(scales: Sequence[tuple[ScalePoint, str]]) -> ScannerPast:
    """From the scale of every scan, oldest first, each with its scan's hash: a scan that ran twice counts once."""
    newest = {sha256: point for point, sha256 in scales}
    told = tuple(
        sorted((each for each in newest.values() if each.u_percent <= 100 * MOST_U), key=lambda each: each.job)
    )
    chart = chart_of([point.percent for point in told])
    return ScannerPast(told, len(newest) - len(told), chart, _warning(chart, told))


def _warning(chart: Chart | None, points: Sequence[ScalePoint]) -> str:
    """What moved, by how much, and what to do; '' when no pattern ends among the last scans.

    The four tests together see a pattern in one of 92 scans of a scanner that has not moved at all, so the mean of the
    last scans must have left the centre as well, by 2.5 standard deviations of the gap between the two means. Simulated
    over 300 still scanners of 30 scans each, "moved" is then said of 2 %; without it, of 16 %.
    """
    if chart is None:
        return ""
    recent = [signal for signal in chart.signals if signal.at >= len(chart.values) - RECENT]
    patterns = dict.fromkeys(IN_WORDS[signal.rule] for signal in recent if signal.rule != 1)
    now = float(chart.values[-RECENT:].mean())
    if patterns and abs(now - chart.centre) > 2.5 * chart.sigma * (1 / RECENT + 1 / chart.base) ** 0.5:
        return (
            f"The scanner's scale has moved: {now:+.2f} % over the last {RECENT} scans, {chart.centre:+.2f} % at first"
            f" ({'; '.join(patterns)}). Calibrate it, and look whether it or the turntable was moved or has warmed up."
        )
    alone = [points[signal.at] for signal in recent if signal.rule == 1]
    if not alone:
        return ""
    return (
        f"One scan lies outside the usual limits: {alone[-1].percent:+.2f} % ({alone[-1].part}, {alone[-1].day}). If"
        " the next one does too, calibrate the scanner."
    )
