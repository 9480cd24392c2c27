"""The directions that much of a surface faces, by vote of its normals."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from verifier.finding.doubt import evenly
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray

VOTERS, SEEDS = 20_000, 1500
SEEDS_AT_ONCE = 16
VOTE_DEG, APART_DEG = 4.0, 6.0
MOST_DIRECTIONS = 60


def common_directions(surface: Surface, free: BoolArray, least_area_mm2: float) -> Iterator[Array]:
    """Directions most normals agree on, strongest first, each at least 6 degrees from those before.

    The seeds are normals of the part itself, so that the outcome does not hang on how the part lies.
    """
    voters = np.flatnonzero(free)
    if len(voters) == 0:
        return
    area_per_voter = surface.areas_mm2[voters].sum() / min(len(voters), VOTERS)
    normals = surface.normals[voters[evenly(len(voters), VOTERS)]]
    seeds = normals[evenly(len(normals), SEEDS)]
    agree = _agreeing(seeds, normals)
    votes = np.array([np.count_nonzero(row) for row in agree])
    # Half the smallest patch is asked of the votes: the vote cone is narrower than the patch's own.
    least = max(3.0, 0.5 * least_area_mm2 / area_per_voter)
    taken: list[Array] = []
    near_taken = np.zeros(len(seeds), dtype=bool)
    for seed in np.argsort(-votes, kind="stable"):
        if votes[seed] < least or len(taken) >= MOST_DIRECTIONS:
            return
        if near_taken[seed]:
            continue
        settled = settled_direction(normals, normals[agree[seed]].mean(axis=0))
        known = bool(taken) and float((np.array(taken) @ settled).max()) > np.cos(np.radians(0.5 * APART_DEG))
        taken.append(seeds[seed] if known else settled)
        near_taken |= seeds @ taken[-1] > np.cos(np.radians(APART_DEG))
        if not known:
            yield settled


def _agreeing(seeds: NDArray[np.float32], normals: NDArray[np.float32]) -> BoolArray:
    """Whether each seed and each normal face alike, (s, n); a few seeds at once, in what a core keeps at hand."""
    agree = np.empty((len(seeds), len(normals)), dtype=bool)
    cosine = np.float32(np.cos(np.radians(VOTE_DEG)))
    for start in range(0, len(seeds), SEEDS_AT_ONCE):
        some = slice(start, start + SEEDS_AT_ONCE)
        np.greater(seeds[some] @ normals.T, cosine, out=agree[some])
    return agree


def settled_direction(normals: NDArray[np.float32], direction: Array | NDArray[np.float32]) -> Array:
    """Mean of the normals within 4 degrees, until it stands still."""
    settled: Array = np.asarray(direction / np.linalg.norm(direction), dtype=np.float64)
    for _ in range(20):
        near = np.flatnonzero(normals @ settled.astype(np.float32) > np.cos(np.radians(VOTE_DEG)))
        if len(near) == 0:
            return settled
        mean = np.ones(len(near)) @ np.take(normals, near, axis=0).astype(np.float64)
        mean /= np.linalg.norm(mean)
        still = 1.0 - float(mean @ settled) < 1e-12
        settled = mean
        if still:
            break
    return settled
