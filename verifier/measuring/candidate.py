"""One place on the scan where a row of the sheet could have been taken."""

from dataclasses import dataclass

import numpy as np

from verifier.mesh import Array


@dataclass(frozen=True, slots=True)
class Candidate:
    """A size between found features.

    value : mm, degrees for an angle
    u : its standard uncertainty, in the same unit
    walls : coated walls it crosses, see Size
    features : names of the features, the key by which two candidates are the same place
    points_mm : (2, 3) where it was taken, for the callout
    seen_share : 0 to 1, how much of what it needs was really seen
    """

    value: float
    u: float
    walls: float
    features: tuple[str, ...]
    points_mm: Array
    seen_share: float = 1.0


def root_sum_square(*terms: float) -> float:
    """Combined standard uncertainty of independent terms (JCGM 100:2008, 5.1.2)."""
    return float(np.sqrt(sum(term * term for term in terms)))


def unit(vector: Array) -> Array:
    """The same direction with length 1, (3,)."""
    return np.asarray(vector / np.linalg.norm(vector), dtype=np.float64)
