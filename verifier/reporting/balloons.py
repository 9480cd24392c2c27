"""Where the numbers of the callouts stand, so that none covers another."""

import math
from collections.abc import Sequence

import numpy as np

from verifier.mesh import Array

ROUNDS = 60
BETWEEN = 6.0


def placed_balloons(
    ends: Sequence[Array], halves: Sequence[tuple[float, float]], room: tuple[int, int], leader: float
) -> Array:
    """Middles of the balloons, (k, 2), in picture points.

    ends : of every callout, its points (p, 2); halves : half its width and height
    room : width and height of the picture; leader : how far a balloon stands off its size

    A balloon stands outside its size as seen from the picture's middle; then those that cover each other push one
    another apart along the axis on which that takes the shorter way.
    """
    if not ends:
        return np.empty((0, 2))
    anchors = np.array([points.mean(axis=0) for points in ends])
    away = anchors - np.array(room) / 2 - (0, 1)
    balloons: Array = anchors + leader * away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    half = np.array(halves)
    for _ in range(ROUNDS):
        before = balloons
        balloons = np.clip(_pushed_apart(before, half), half + 2, np.array(room) - half - 2)
        if np.array_equal(balloons, before):
            break  # nor would they move again
    return balloons


def _pushed_apart(balloons: Array, half: Array) -> Array:
    """One round: each two, in turn, that cover each other. In plain numbers: arrays of two take ten times as long."""
    at, sizes = balloons.tolist(), half.tolist()
    for one in range(len(at)):
        for two in range(one + 1, len(at)):
            gap = [at[two][axis] - at[one][axis] or (0.1, 0.2)[axis] for axis in (0, 1)]
            covered = [sizes[one][axis] + sizes[two][axis] + BETWEEN - abs(gap[axis]) for axis in (0, 1)]
            if min(covered) <= 0:
                continue
            axis = covered.index(min(covered))
            push = math.copysign(0.5 * covered[axis], gap[axis])
            at[one][axis] -= push
            at[two][axis] += push
    return np.array(at)
