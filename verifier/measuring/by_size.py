"""Rows that nothing ties to others: matched by their size, all rows of a kind at once.

No two rows share a place, except rows of equal reading (one face pair measured twice). For each row all places are kept
that the row could have in a matching within RIVAL of the best.
"""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from verifier.measuring import belief as beliefs
from verifier.measuring.candidate import Candidate
from verifier.measuring.kinds import KINDS, Kind
from verifier.measuring.option import Option, best_first
from verifier.measuring.regret import (
    MISREAD_DEG,
    MISREAD_MM,
    MOULDING_U_DEG,
    MOULDING_U_MM,
    NOT_FOUND_BY_SIZE,
    RIVAL,
    misread,
    seen_well,
)
from verifier.measuring.wanted import Wanted, equal_sizes
from verifier.mesh import Array

# Stands for "cannot be": far above any sum of regrets of 30 rows, and small enough to add without losing digits.
IMPOSSIBLE = 1e6


def options_by_size(
    wanted: Sequence[Wanted], places: Sequence[Sequence[Candidate]], belief: Array
) -> list[tuple[Option, ...]]:
    """For each row all its options, best first.

    wanted : rows of one kind, each with a size
    places : for each row where it could have been taken
    belief : (n, 5) of scale and coat, a line for each row
    """
    kind = KINDS[wanted[0].row.kind]
    own = [regrets(*each, kind) for each in zip(wanted, places, belief, strict=True)]
    groups = _equal_readings(wanted) if kind.shared else [[i] for i in range(len(wanted))]
    keys = _worth_considering(places, own)
    cost = np.array([_group_cost(group, places, own, keys) for group in groups]).reshape(len(groups), len(keys))
    worse = _least_worsening(cost)
    options: list[tuple[Option, ...]] = [()] * len(wanted)
    for group, line in zip(groups, worse, strict=True):
        for i in group:
            options[i] = _as_options(places[i], own[i], keys, line)
    return options


def regrets(row: Wanted, candidates: Sequence[Candidate], belief: Array, kind: Kind) -> Array:
    """How badly each place fits a row, read well or misread, whichever is the better story, (candidates,)."""
    value, u, walls = (np.array([getattr(c, n) for c in candidates], dtype=np.float64) for n in ("value", "u", "walls"))
    size = float(row.size or 0.0)
    if kind.length:
        expected, spread = beliefs.predict(np.repeat(belief[None], len(candidates), axis=0), size, walls)
        floor, reach = MOULDING_U_MM, MISREAD_MM
    else:
        expected, spread, floor, reach = np.full(len(u), size), np.zeros(len(u)), MOULDING_U_DEG, MISREAD_DEG
    variance = row.u**2 + u**2 + floor**2
    return np.minimum(seen_well(value - expected, variance + spread), misread(value - expected, variance, reach))


def _equal_readings(wanted: Sequence[Wanted]) -> list[list[int]]:
    """Rows in groups of equal reading."""
    groups: list[list[int]] = []
    for i in sorted(range(len(wanted)), key=lambda i: wanted[i].size or 0.0):
        if groups and equal_sizes(wanted[groups[-1][0]], wanted[i]):
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


def _worth_considering(places: Sequence[Sequence[Candidate]], own: Sequence[Array]) -> list[tuple[str, ...]]:
    """Names of the places that any row could have before it would rather not be found."""
    near = (
        candidate.features
        for candidates, fits in zip(places, own, strict=True)
        for candidate, regret in zip(candidates, fits, strict=True)
        if regret < NOT_FOUND_BY_SIZE + RIVAL
    )
    return sorted(set(near))


def _group_cost(
    group: Sequence[int],
    places: Sequence[Sequence[Candidate]],
    own: Sequence[Array],
    keys: Sequence[tuple[str, ...]],
) -> Array:
    """Mean regret of a group's rows at each place, (keys,)."""
    column = {key: k for k, key in enumerate(keys)}
    cost = np.full((len(group), len(keys)), IMPOSSIBLE)
    for line, i in enumerate(group):
        for candidate, regret in zip(places[i], own[i], strict=True):
            k = column.get(candidate.features)
            if k is not None:
                cost[line, k] = min(cost[line, k], regret)
    return np.asarray(cost.mean(axis=0), dtype=np.float64)


def _least_worsening(cost: Array) -> Array:
    """How much worse than the best the best matching is that gives row i place k (last: not found), (n, k + 1)."""
    rows, columns = cost.shape
    not_found = np.where(np.eye(rows, dtype=bool), NOT_FOUND_BY_SIZE, IMPOSSIBLE)
    full = np.hstack([cost, not_found])
    best = _total(full)
    worse = np.full((rows, columns + 1), np.inf)
    for i in range(rows):
        for k in np.flatnonzero(full[i] < NOT_FOUND_BY_SIZE + RIVAL):
            rest = np.delete(np.delete(full, i, axis=0), k, axis=1)
            worse[i, min(int(k), columns)] = full[i, k] + _total(rest) - best
    return worse


def _total(cost: Array) -> float:
    return float(cost[linear_sum_assignment(cost)].sum()) if cost.size else 0.0


def _as_options(
    candidates: Sequence[Candidate], fits: Array, keys: Sequence[tuple[str, ...]], worse: Array
) -> tuple[Option, ...]:
    by_key = dict(zip(keys, worse, strict=False))
    # Of several sizes at one place (an angle and its supplement) the one that fits.
    fitting: dict[tuple[str, ...], int] = {}
    for j in np.argsort(fits, kind="stable"):
        fitting.setdefault(candidates[j].features, int(j))
    found = [
        Option(candidates[j], float(by_key[key])) for key, j in fitting.items() if by_key.get(key, np.inf) <= RIVAL
    ]
    lost = [Option(None, float(worse[-1]))] if worse[-1] <= RIVAL else []
    return tuple(sorted(found + lost, key=best_first))
