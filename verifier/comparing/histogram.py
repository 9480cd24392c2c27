"""How the deviations are spread: shares of the surface by how far it is off."""

from dataclasses import dataclass

import numpy as np

from verifier.mesh import Array

# The scale ends at the first of these that holds 98 % of the surface, so that the scales of two parts compare.
SCALES_MM = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)
HELD_SHARE = 0.98
# Odd, so that the middle one holds what is hardly off at all.
STEPS = 21


@dataclass(frozen=True, slots=True)
class Histogram:
    """Shares of the surface in equal steps from -limit_mm to +limit_mm; the outermost hold what lies beyond, too."""

    limit_mm: float
    shares: tuple[float, ...]


def histogram_of(away_mm: Array, areas_mm2: Array) -> Histogram:
    """The spread of deviations (n,), each counted by its area; noughts where there is none."""
    total = float(areas_mm2.sum())
    if total <= 0.0:
        return Histogram(SCALES_MM[0], (0.0,) * STEPS)
    limit = next((scale for scale in SCALES_MM if _held(away_mm, areas_mm2, scale) >= HELD_SHARE), SCALES_MM[-1])
    step = np.clip((away_mm + limit) * STEPS / (2 * limit), 0, STEPS - 1).astype(np.int64)
    shares = np.bincount(step, areas_mm2, minlength=STEPS) / total
    return Histogram(limit, tuple(float(share) for share in shares))


def _held(away_mm: Array, areas_mm2: Array, limit_mm: float) -> float:
    return float(areas_mm2[np.abs(away_mm) <= limit_mm].sum() / areas_mm2.sum())
