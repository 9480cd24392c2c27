"""How well surfaces lie on each other under a pose: where they agree, and where one lies wrongly before the other."""

from dataclasses import dataclass

import numpy as np

from verifier.comparing.cloud import Cloud
from verifier.comparing.refining import Partners, Target, partners
from verifier.mesh import Array, BoolArray

# A point speaks for or against a pose only where the other surface lies right beneath it: as near aside as its points
# lie apart. Elsewhere nothing was scanned there, which a partial view is free to do.
ASIDE_SPACINGS = 1.3


@dataclass(frozen=True, slots=True)
class Fit:
    """Shares of the moving surface, each (k,) for a stack of poses.

    agree : lies on the fixed surface within the tolerance
    conflict : lies before or behind a fixed surface that faces alike, within reach: a sound part has no such place
    """

    agree: Array
    conflict: Array

    @property
    def score(self) -> Array:
        """What speaks for a pose less what speaks against it."""
        return self.agree - self.conflict


def fit_of(target: Target, moving: Cloud, poses: Array, tolerance_mm: float, reach_mm: float) -> Fit:
    """How well the moving surface lies on the fixed one under each pose.

    tolerance_mm : distance that scatter, coat and scale explain
    reach_mm : farther apart than this, two surfaces that face alike are taken for different faces
    """
    found = partners(target, moving, poses)
    beneath = beneath_of(found, target, tolerance_mm)
    away = np.abs(found.away_mm)
    agree = beneath & (away <= tolerance_mm)
    conflict = beneath & (away > 2.0 * tolerance_mm) & (away < reach_mm)
    return Fit(agree.mean(axis=1), conflict.mean(axis=1))


def beneath_of(found: Partners, target: Target, tolerance_mm: float) -> BoolArray:
    """Which points have the fixed surface right beneath them, facing alike, (k, n)."""
    aside = max(ASIDE_SPACINGS * target.cloud.spacing_mm, tolerance_mm)
    return np.asarray(found.facing & (found.aside_mm < aside))
