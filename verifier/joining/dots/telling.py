"""Dots tell ways of putting scans together apart, among those that the scans' shapes allow."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from verifier.joining.dots.dot import Dots
from verifier.joining.dots.matching import fixes_pose, least_to_tell, matched
from verifier.mesh import Array

# A way on which so many dots fewer lie on each other is ruled out: one may be missed, or lie on another by chance.
FEWER = 3


def dots_together(dots: Sequence[Dots], poses: Sequence[Array]) -> int:
    """How many times two scans show the same dot with the scans in these poses; chance meetings do not count."""
    return sum(
        _shared(dots[i], dots[j], np.linalg.inv(poses[i]) @ poses[j]) for i, j in combinations(range(len(dots)), 2)
    )


def _shared(first: Dots, second: Dots, pose: Array) -> int:
    if min(len(first), len(second)) == 0:
        return 0
    pairs = matched(first, second, pose)
    enough = len(pairs) >= least_to_tell(first, second) and fixes_pose(first.at_mm[pairs[:, 0]])
    return len(pairs) if enough else 0


def told_apart(together: Sequence[int], allowed: Sequence[bool]) -> list[int]:
    """Numbers of the ways that are left, the best first; all, in their order, where dots say nothing.

    together : for each way, the best-fitting first, how many dots lie on each other
    allowed : which ways the scans' shapes do not contradict
    """
    count = len(together)
    best = max((k for k in range(count) if allowed[k]), key=lambda k: together[k], default=0)
    if not count or together[best] < FEWER or together[best] < together[0] + (FEWER if best else 0):
        return list(range(count))
    return [best, *(k for k in range(count) if k != best and together[k] > together[best] - FEWER)]


def told_otherwise(together: Sequence[int], allowed: Sequence[bool]) -> int | None:
    """Number of the way that dots would have taken, had the shapes not spoken against it; None if there is none."""
    most = max((count for count, fits in zip(together, allowed, strict=True) if fits), default=0)
    against = [k for k, fits in enumerate(allowed) if not fits and together[k] >= most + FEWER]
    return max(against, key=lambda k: together[k], default=None)
