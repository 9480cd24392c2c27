"""When a face that is not flat to its scatter is still one flat face, warped, and no curved one."""

import numpy as np

from verifier.finding.doubt import evenly
from verifier.mesh import Array

# A moulded or printed strip 80 mm long that warps by 0.3 mm bends to 2700 mm, one of 30 mm by 0.2 mm to 560 mm; what is
# meant to be round has less (common practice, no source).
LEAST_WARP_MM = 500.0
# A face that leaves its plane by more than this all told is no flat that somebody would lay a calliper to.
MOST_WARP_MM = 1.2
POINTS = 2000


def is_warped_flat(points_mm: Array) -> bool:
    """Whether points (n, 3) of one connected face lie near a plane and bend less than anything meant to be round."""
    few = points_mm[evenly(len(points_mm), POINTS)]
    rel = few - few.mean(axis=0)
    x, y, h = (rel @ np.linalg.svd(rel, full_matrices=False)[2].T).T
    low, high = np.percentile(h, [0.5, 99.5])
    return bool(high - low < MOST_WARP_MM and np.abs(second_order_bends(x, y, h)).max() < 1.0 / LEAST_WARP_MM)


def second_order_bends(x: Array, y: Array, h: Array) -> Array:
    """The two principal bends (1/mm) of the second-order surface through heights h over x, y, all (n,)."""
    slope = np.column_stack([np.ones_like(x), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    found = np.linalg.lstsq(slope, h, rcond=None)[0]
    return np.linalg.eigvalsh(np.array([[found[3], found[4]], [found[4], found[5]]]))
