"""What changed between two scans of one part, from the numbers of its rows."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.correcting.misreadings import critical_z

# Chance that any row of an unchanged part is called changed, over all its rows together.
FALSE_ALARM = 0.01


@dataclass(frozen=True, slots=True)
class Seen:
    """One row of one scan: its size with scale and coat taken out, and its standard uncertainty."""

    name: str
    kind: str
    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Change:
    """One row in two scans.

    by : how much more it is in the later one; expanded_u : of that, 95 %
    real : more than chance does in one part of a hundred; meaning : what that usually is, '' when it is not real
    """

    name: str
    kind: str
    by: float
    expanded_u: float
    real: bool
    meaning: str


# kind -> what it usually means when the size has become greater, and smaller.
MEANINGS: Mapping[str, tuple[str, str]] = {
    "bore": ("worn wider", "closed up, or dirt in it"),
    "slot width": ("worn wider", "closed up, or dirt in it"),
    "slot length": ("worn longer", "closed up, or dirt in it"),
    "countersink diameter": ("worn wider or deeper", "closed up, or dirt in it"),
    "countersink angle": ("worn", "worn"),
    "counterbore diameter": ("worn wider", "closed up, or dirt in it"),
    "counterbore depth": ("floor worn, or the face swollen", "face worn, or dirt on the floor"),
    "boss": ("swollen, or dirt on it", "worn thinner"),
    "ball": ("swollen, or dirt on it", "worn thinner"),
    "thickness": ("swollen, or dirt on it", "worn thinner"),
    "least wall": ("swollen, or dirt on it", "worn thinner"),
    "overall": ("stretched or swollen", "worn shorter"),
    "step": ("worn or bent", "worn or bent"),
    "edge distance": ("bent, or its bore worn to one side", "edge worn, or its bore worn to one side"),
    "centre distance": ("stretched or bent", "bent"),
    "pitch circle": ("stretched or warped", "warped"),
    "angle": ("bent", "bent"),
    "flatness": ("warped", "straighter"),
    "parallelism": ("warped or bent", "straighter"),
    "perpendicularity": ("warped or bent", "straighter"),
}


def changes(before: Sequence[Seen], after: Sequence[Seen]) -> tuple[Change, ...]:
    """Every row that both scans measured, in the order of the later one.

    The two uncertainties are taken as independent. They share the calliper's readings, so this asks for a little more
    than it must before it calls a change real.
    """
    earlier = {seen.name: seen for seen in before}
    pairs = [(earlier[seen.name], seen) for seen in after if seen.name in earlier]
    critical = critical_z(len(pairs), FALSE_ALARM)
    return tuple(_change(old, new, critical) for old, new in pairs)


def _change(old: Seen, new: Seen, critical: float) -> Change:
    by, u = new.value - old.value, float(np.hypot(old.u, new.u))
    real = abs(by) > critical * u
    grown, shrunk = MEANINGS.get(new.kind, ("changed", "changed"))
    return Change(new.name, new.kind, by, 2.0 * u, real, (grown if by > 0 else shrunk) if real else "")
