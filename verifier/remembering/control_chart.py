"""A control chart of single values: limits from what was usual, and the patterns that chance seldom makes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.mesh import Array, BoolArray

# Expected range of two values of a normal distribution, in standard deviations (d2 of ISO 7870-2:2013 for n = 2,
# 1.128379...). The limits lie 3 / d2 = 2.660 mean moving ranges from the centre (E2 of the same table).
D2 = 1.128

# Limits from fewer values move too much to be called limits; the first twenty make them, as ISO 7870-2 advises of
# twenty to twenty-five, and stay: limits that follow a drift would never show it.
FEWEST_VALUES = 8
BASE_VALUES = 20


@dataclass(frozen=True, slots=True)
class Signal:
    """A pattern that is complete at one value.

    at : index of that value; rule : 1 to 4
    """

    at: int
    rule: int


@dataclass(frozen=True, slots=True)
class Chart:
    """Single values in their order, with what was usual at the beginning.

    values : (n,) ; base : how many of the first made the limits
    centre, sigma : of those; signals : in the order of the values
    """

    values: Array
    base: int
    centre: float
    sigma: float
    signals: tuple[Signal, ...]

    @property
    def lower(self) -> float:
        """The limit below."""
        return self.centre - 3.0 * self.sigma

    @property
    def upper(self) -> float:
        """The limit above."""
        return self.centre + 3.0 * self.sigma


def chart_of(values: Sequence[float]) -> Chart | None:
    """The chart of values in their order; None for fewer than eight.

    sigma = mean moving range / d2, so that a slow drift inside the base does not widen the limits.
    """
    if len(values) < FEWEST_VALUES:
        return None
    array = np.asarray(values, dtype=np.float64)
    base = array[:BASE_VALUES]
    centre, sigma = float(base.mean()), float(np.abs(np.diff(base)).mean() / D2)
    return Chart(array, len(base), centre, sigma, signals_of(array, centre, sigma))


def signals_of(values: Array, centre: float, sigma: float) -> tuple[Signal, ...]:
    """The Western Electric tests (Statistical Quality Control Handbook, 1956) on values in their order, (n,).

    1: a value beyond 3 sigma. 2: two of three in a row beyond 2 sigma on one side. 3: four of five beyond 1 sigma on
    one side. 4: eight in a row on one side of the centre. A pattern is told where it becomes complete.
    """
    if sigma <= 0.0:  # every value of the base is the same to the last digit
        return ()
    z = (values - centre) / sigma
    found = [Signal(int(at), rule) for rule, test in TESTS.items() for at in np.flatnonzero(test(z))]
    return tuple(sorted(found, key=lambda signal: (signal.at, signal.rule)))


def _many_of(z: Array, needed: int, among: int, beyond: float) -> BoolArray:
    """Where a value beyond a line is the last of `needed` beyond it, on one side, among the last `among`."""
    told = np.zeros(len(z), dtype=bool)
    for side in (1.0, -1.0):
        out = side * z > beyond
        counts = np.convolve(out, np.ones(among, dtype=int))[: len(z)]
        told |= out & (counts >= needed)
    return told


TESTS: dict[int, Callable[[Array], BoolArray]] = {
    1: lambda z: _many_of(z, 1, 1, 3.0),
    2: lambda z: _many_of(z, 2, 3, 2.0),
    3: lambda z: _many_of(z, 4, 5, 1.0),
    4: lambda z: _many_of(z, 8, 8, 0.0),
}
IN_WORDS = {
    1: "one value beyond its limits",
    2: "two of three values in a row far out on one side",
    3: "four of five values in a row off on one side",
    4: "eight values in a row on one side",
}
