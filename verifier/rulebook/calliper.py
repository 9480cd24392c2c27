"""What a reading on the sheet says about the part, and how surely."""

import math
from dataclasses import dataclass

from verifier.errors import RuleMistake
from verifier.rulebook.choice import calliper_for
from verifier.rulebook.rules import Calliper, Rules
from verifier.rulebook.sheet import Gauge, Sheet, SheetRow, SizeKind

# A pin that enters and a next one that does not, in steps of 0.02 mm by hand: 0.02 / sqrt(12) = 0.006 for the step, and
# as much again for how hard it was pushed into plastic. Common practice, no source.
PIN_U_MM = 0.008

# A bevel protractor or a square and feelers on a short moulded side; a countersink's angle is told by the cutter or the
# screw's head that fits it. Common practice, no source.
ANGLE_U_DEG = {"angle": 0.1, "countersink angle": 1.0}

# The rim of a countersink is never sharp: inside jaws touch it a little above or below where side and face would meet.
# Rounded by 0.1 mm the mouth shows up to 0.08 mm larger at 90 degrees. Common practice, no source.
RIM_U_MM = 0.05

# Inside jaws have flats of 0.3 to 1 mm (common practice, no source); at 0.5 mm a bore of 12 mm reads 0.01 mm small,
# one step of a digital display, and smaller bores more.
FLATS_MATTER_BELOW_MM = 12.0
ROUND_INSIDE: tuple[SizeKind, ...] = ("bore", "countersink diameter", "counterbore diameter")


@dataclass(frozen=True, slots=True)
class CalliperReading:
    """One reading of the original, as a size of the part.

    value : mm, degrees for an angle; with the flats of inside jaws taken into account
    u : its standard uncertainty, in the same unit
    note : what was done to the reading, or what to know about it; empty when there is nothing to say
    """

    value: float
    u: float
    note: str


def reading_of(row: SheetRow, sheet: Sheet, rules: Rules) -> CalliperReading | None:
    """What the row's reading says about the part; None while it has not been read.

    u^2 = (error limit / sqrt 3)^2 + (step / sqrt 12)^2 + repeat^2: the limit and the step as rectangular distributions
    (JCGM 100:2008, 4.3.7), the error limit of DIN 862 with its addition for inside and depth readings.
    Raises UnknownName for the calliper, RuleMistake for a reading longer than the calliper.
    """
    return reading_at(row, sheet, rules, where=f"the sheet of {sheet.part}, row '{row.name}'")


def reading_at(row: SheetRow, sheet: Sheet, rules: Rules, *, where: str) -> CalliperReading | None:
    """The same as reading_of; a mistake is reported at `where`."""
    if row.reading is None:
        return None
    if row.kind in ANGLE_U_DEG:
        return CalliperReading(row.reading, ANGLE_U_DEG[row.kind], "")
    gauge = gauge_of(row)
    if gauge == "pin":
        return CalliperReading(
            row.reading, PIN_U_MM, "by the largest pin that enters" if row.kind in ROUND_INSIDE else ""
        )
    calliper = calliper_for(sheet, rules)
    u_mm = _u_mm(calliper, row.reading, gauge, where)
    if row.kind == "countersink diameter":
        u_mm = math.hypot(u_mm, RIM_U_MM)
    if row.kind in ROUND_INSIDE:
        return _bore_reading(row.reading, u_mm, calliper)
    return CalliperReading(row.reading, u_mm, "")


def gauge_of(row: SheetRow) -> Gauge:
    """How a row was gauged: as the sheet says, else as the kind of size is usually reached."""
    if row.gauged is not None:
        return row.gauged
    inside: dict[str, Gauge] = dict.fromkeys((*ROUND_INSIDE, "slot width", "slot length"), "inside jaws")
    usual = inside | dict.fromkeys(("step", "counterbore depth"), "depth rod")
    return usual.get(row.kind, "outside jaws")


def bore_across_flats_mm(reading_mm: float, flats_mm: float) -> float:
    """The diameter of a bore that shows this reading: the flats touch it on a chord, so D^2 = d^2 + w^2."""
    return math.hypot(reading_mm, flats_mm)


def error_limit_mm(calliper: Calliper, length_mm: float) -> float | None:
    """The calliper's greatest permissible error at a length; None beyond its range."""
    return next((limit for to_mm, limit in calliper.limits_mm if length_mm <= to_mm), None)


def _u_mm(calliper: Calliper, reading_mm: float, gauge: Gauge, where: str) -> float:
    limit_mm = error_limit_mm(calliper, reading_mm)
    if limit_mm is None:
        raise RuleMistake(
            f"a reading of {reading_mm:g} mm is longer than the calliper '{calliper.name}', {calliper.longest_mm:g} mm",
            where=where,
            do="See whether the point is in the right place, or name the calliper it was read with",
        )
    limit_mm += calliper.inside_extra_mm if gauge in ("inside jaws", "depth rod") else 0.0
    return math.hypot(limit_mm / math.sqrt(3.0), calliper.step_mm / math.sqrt(12.0), calliper.repeat_mm)


def _bore_reading(reading_mm: float, u_mm: float, calliper: Calliper) -> CalliperReading:
    """A bore read with inside jaws, which touch it beside its diameter."""
    if calliper.jaw_flats_mm > 0.0:
        value_mm = bore_across_flats_mm(reading_mm, calliper.jaw_flats_mm)
        return CalliperReading(value_mm, u_mm, f"read {reading_mm:g} on jaw flats of {calliper.jaw_flats_mm:g} mm")
    if reading_mm < FLATS_MATTER_BELOW_MM:
        return CalliperReading(reading_mm, u_mm, "jaw flats not known: a bore this small is read too small")
    return CalliperReading(reading_mm, u_mm, "")
