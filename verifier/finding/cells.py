"""The cells a scan was fused in, told by its net: marching cubes put every corner on an edge of one of them."""

import numpy as np

from verifier.finding.doubt import evenly
from verifier.mesh import Array, BoolArray

SAMPLE = 20_000
# A level is a value that so many corners share to the last bit; scatter repeats none.
SHARED_BY, LEAST_LEVELS = 10, 3
# Of a corner on an edge of the grid two coordinates are the grid's; so it is with nearly all corners of such a net.
LEAST_ON_EDGES = 0.9
# Steps are alike along the three axes, but for the rounding of 32-bit numbers.
STEPS_ALIKE = 0.01


def cell_mm(points_mm: Array) -> float:
    """Edge of the cubic cells whose edges a net's corners, (n, 3), lie on; nought where they lie on none.

    A net that was turned or thinned after it was fused no longer shows its cells.
    """
    levels = [_on_levels(column) for column in points_mm[evenly(len(points_mm), SAMPLE)].T]
    steps_mm = [step for step, _ in levels]
    on_an_edge = np.sum([on for _, on in levels], axis=0) == 2
    alike = max(steps_mm) < (1.0 + STEPS_ALIKE) * min(steps_mm)
    return float(np.median(steps_mm)) if alike and np.mean(on_an_edge) > LEAST_ON_EDGES else 0.0


def _on_levels(along_mm: Array) -> tuple[float, BoolArray]:
    """Middle step between the levels along one axis, nought where there are few, and which corners lie on one, (n,)."""
    value, place, count = np.unique(along_mm, return_inverse=True, return_counts=True)
    level = count >= SHARED_BY
    step_mm = float(np.median(np.diff(value[level]))) if level.sum() >= LEAST_LEVELS else 0.0
    return step_mm, level[place]
