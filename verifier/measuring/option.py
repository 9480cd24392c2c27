"""A place that a row of the sheet may have."""

from dataclasses import dataclass

import numpy as np

from verifier.measuring.candidate import Candidate


@dataclass(frozen=True, slots=True)
class Option:
    """A place a row may have, or none (not found), and how much worse than the best the whole matching then is."""

    candidate: Candidate | None
    worse_by: float


def best_first(option: Option) -> tuple[float, float]:
    """Sorting key. Equal regrets go in order of size, so that neither names nor order of the rows decide."""
    return round(option.worse_by, 6), option.candidate.value if option.candidate else np.inf
