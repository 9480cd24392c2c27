"""Where the numbers of the callouts stand, so that none covers another."""

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
        _push_apart(balloons, half)
        np.clip(balloons, half + 2, np.array(room) - half - 2, out=balloons)
    return balloons


def _push_apart(balloons: Array, half: Array) -> None:
    for one in range(len(balloons)):
        for two in range(one + 1, len(balloons)):
            gap = balloons[two] - balloons[one]
            gap = np.where(gap == 0, (0.1, 0.2), gap)
            covered = half[one] + half[two] + BETWEEN - np.abs(gap)
            if covered.min() <= 0:
                continue
            axis = int(covered.argmin())
            push = 0.5 * covered[axis] * np.sign(gap[axis])
            balloons[one, axis] -= push
            balloons[two, axis] += push
