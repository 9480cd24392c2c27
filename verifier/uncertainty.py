"""Combined and expanded uncertainty (JCGM 100:2008)."""

from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, stdtrit


def combined(contributions: Sequence[float]) -> float:
    """Standard uncertainty of a sum of independent parts, each already multiplied by its sensitivity (5.1.2)."""
    return float(np.linalg.norm(np.asarray(contributions, dtype=np.float64)))


def effective_dof(contributions: Sequence[float], dofs: Sequence[float]) -> float:
    """Degrees of freedom of a combined uncertainty, by Welch and Satterthwaite (G.4.1); not rounded.

    contributions : u_i times sensitivity; dofs : of each, infinite where u_i is taken as known
    """
    parts = np.asarray(contributions, dtype=np.float64) ** 4 / np.asarray(dofs, dtype=np.float64)
    total = float(parts.sum())
    return combined(contributions) ** 4 / total if total > 0.0 else float(np.inf)


def student_factor(probability: float, dof: float) -> float:
    """Factor that makes a two-sided interval of this probability from a standard uncertainty (table G.2)."""
    return float(stdtrit(dof, 0.5 + probability / 2.0))


def same_coverage_factor(k: float, dof: float) -> float:
    """Factor that covers with these degrees of freedom what k covers with infinitely many."""
    if np.isinf(dof):
        return k
    return student_factor(1.0 - 2.0 * float(ndtr(-k)), dof)
