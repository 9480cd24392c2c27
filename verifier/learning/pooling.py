"""Several prints of one filament on one printer: one figure, its interval, and how much prints differ."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from verifier.learning.terms import Term
from verifier.mesh import Array

# Two-sided coverage of every interval given here.
COVERAGE = 0.95

# Of the interval that is one standard uncertainty to each side, where many prints are pooled.
STANDARD = 0.6827

FEWEST_PRINTS = 2  # one print says nothing of how much the next will differ


@dataclass(frozen=True, slots=True)
class Pooled:
    """What k prints say together.

    value : the pooled figure; half_width : of its 95 % interval
    u : half-width of its 68.3 % interval, to be set beside a standard uncertainty. With three prints half of the 95 %
        interval is 1.6 times that: it holds out against the one in twenty, and says little of how near the value lies
    between : standard deviation from print to print, beyond what the readings explain
    weights : (k,) share of each print in the value, adding up to 1
    dof : k - 1
    next_half_width : of the 95 % interval for the next single print, the print-to-print scatter included
    """

    value: float
    half_width: float
    u: float
    between: float
    weights: tuple[float, ...]
    dof: int
    next_half_width: float

    @property
    def u_next(self) -> float:
        """Standard uncertainty to plan the next print with: half of its interval, as every U here has k = 2."""
        return self.next_half_width / 2.0


def pool(prints: Sequence[Term]) -> Pooled | None:
    """The random-effects mean of single prints; None for fewer than two.

    Print-to-print variance after Paule and Mandel (J. Res. NBS 87, 377, 1982): that with which the weighted squares
    about the mean add up to k - 1. Interval after Hartung and Knapp (Stat. Med. 20, 3875, 2001): Student's t with
    k - 1 degrees of freedom on the scatter that was seen. It is never taken narrower than the readings allow, or two
    prints that agree by chance would be believed to a hundredth of their own uncertainty.
    """
    if len(prints) < FEWEST_PRINTS:
        return None
    values, u = np.array([term.value for term in prints]), np.array([term.u for term in prints])
    between_2 = _variance_between(values, u)
    weights = 1.0 / (u**2 + between_2)
    mean, dof = float(np.average(values, weights=weights)), len(prints) - 1
    t = student_t(dof)
    seen = float(np.sqrt(_weighted_squares(values, weights) / dof / weights.sum()))
    by_readings = 1.0 / float(np.sqrt(np.sum(1.0 / u**2)))
    half_width = max(t * seen, 2.0 * by_readings)
    return Pooled(
        value=mean,
        half_width=half_width,
        u=max(student_t(dof, STANDARD) * seen, by_readings),
        between=float(np.sqrt(between_2)),
        weights=tuple(float(weight) for weight in weights / weights.sum()),
        dof=dof,
        next_half_width=float(np.hypot(half_width, t * np.sqrt(between_2))),
    )


def student_t(dof: int, coverage: float = COVERAGE) -> float:
    """Half-width of the two-sided interval of Student's distribution, in standard uncertainties."""
    return float(special.stdtrit(dof, 0.5 + coverage / 2.0))


def _weighted_squares(values: Array, weights: Array) -> float:
    return float(np.sum(weights * (values - np.average(values, weights=weights)) ** 2))


def _variance_between(values: Array, u: Array) -> float:
    """The print-to-print variance, 0 where the readings explain the scatter."""
    dof = len(values) - 1

    def excess(variance: float) -> float:
        return _weighted_squares(values, 1.0 / (u**2 + variance)) - dof

    if excess(0.0) <= 0.0:
        return 0.0
    most = float(np.sum((values - values.mean()) ** 2)) / dof * 2.0
    return float(optimize.brentq(excess, 0.0, most, xtol=1e-16))
