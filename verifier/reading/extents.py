"""How long a cloud of corners is, whatever specks lie around it and however it is turned."""

import numpy as np

from verifier.mesh import Array

# A scan's specks hold well under this share of its points on each side.
TRIMMED_SHARE = 0.002
# Enough points for a length within a few parts in a thousand, which is all a unit needs.
SAMPLE = 100_000


def robust_extents(points: Array) -> Array:
    """Lengths along the principal axes, longest first, (3,), in the unit of the points.

    points : (n, 3), of which an even sample is taken; the outermost 0.2 % at each end do not count
    """
    sample = points[:: max(1, len(points) // SAMPLE)]
    low, high = np.quantile(sample, [TRIMMED_SHARE, 1 - TRIMMED_SHARE], axis=0)
    kept = sample[((sample >= low) & (sample <= high)).all(axis=1)]
    kept = kept if len(kept) >= 3 else sample
    _, _, axes = np.linalg.svd(np.cov((kept - kept.mean(axis=0)).T))
    along = (sample - kept.mean(axis=0)) @ axes.T
    low, high = np.quantile(along, [TRIMMED_SHARE, 1 - TRIMMED_SHARE], axis=0)
    return np.sort(high - low)[::-1]
