"""The decision rule: a guard band of one expanded uncertainty inside each limit."""

import numpy as np
from scipy.special import ndtr

from verifier.inspection import Verdict


def decide(value: float, u: float, least: float, greatest: float, k: float) -> Verdict:
    """PASS inside both limits by k * u, FAIL outside one of them by more than k * u, UNDECIDED between.

    JCGM 106:2012 and ILAC-G8:09/2019 with the guard band w = U: at a limit a wrong PASS has a chance of 2.3 % for
    k = 2 and 5.0 % for k = 1.645, and so has a wrong FAIL.
    """
    guard = k * u
    if least + guard <= value <= greatest - guard:
        return "PASS"
    if value < least - guard or value > greatest + guard:
        return "FAIL"
    return "UNDECIDED"


def conformance_probability(value: float, u: float, least: float, greatest: float) -> float:
    """Chance that the true size lies within the limits (JCGM 106:2012, normal distribution).

    The interval is taken on the side where its two tails are small, so that a difference of ones loses no digits.
    """
    low, high = (least - value) / u, (greatest - value) / u
    if low > 0.0:
        return float(ndtr(-low) - ndtr(-high))
    return float(ndtr(high) - ndtr(low))


def distance_to_limit(value: float, least: float, greatest: float) -> float:
    """How far inside the nearer limit a value lies; negative outside."""
    return float(np.minimum(value - least, greatest - value))
