"""Borders of different pieces that run along each other are joined by a strip of faces.

The borders may be of any shape, and one may run along several others in turn. Where they are too far apart the strip
has a gap, which is a hole like any other.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import dist

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.draft import Draft
from verifier.mending.loops import loops_of
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, BoolArray, IntArray

# Two sides of one seam: this far apart, and three spacings more because each side ends in ragged faces. Parts that lie
# side by side on a table are further apart than that, and closed ones have no border at all.
SEAM_MM = 0.6
RAGGED_SPACINGS = 3.0
# Corners of a border that must have the same other border beside them; a chance meeting of two holes has fewer.
LEAST_CORNERS = 6


@dataclass(frozen=True, slots=True)
class Run:
    """Part of a border that runs along one border of another piece.

    corners : in the order of the walk, surface on the left
    beside : for each of them the nearest corner of the other border
    closed : whether it is the whole border
    """

    corners: IntArray
    beside: IntArray
    closed: bool


def zip_pieces(draft: Draft) -> Draft:
    """Join borders of different pieces that run along each other."""
    _, piece = draft.pieces
    if int(piece.max(initial=0)) == 0 or len(draft.edges.border) == 0:
        return draft
    loops = [loop for loop in loops_of(draft) if len(loop) >= LEAST_CORNERS]
    if len(loops) < 2:
        return draft
    return _zipped(draft, loops, piece, SEAM_MM + RAGGED_SPACINGS * _spacing_mm(draft, np.concatenate(loops)))


def zip_owned(draft: Draft, owner: IntArray, reach_mm: float) -> Draft:
    """Join borders of different owners that run along each other, no further apart than the reach.

    owner : (m,) of every face
    """
    if len(draft.edges.border) == 0:
        return draft
    loops = [loop for loop in loops_of(draft) if len(loop) >= LEAST_CORNERS]
    return _zipped(draft, loops, owner, reach_mm) if len(loops) > 1 else draft


def _zipped(draft: Draft, loops: Sequence[IntArray], owner: IntArray, reach_mm: float) -> Draft:
    runs = _runs(draft, loops, owner, reach_mm)
    strips = [_strip(draft.mesh.vertices_mm, runs[i], runs[j], reach_mm) for i, j in _pairs(runs)]
    return _sewn(draft, [strip for strip in strips if len(strip)])


def _sewn(draft: Draft, strips: Sequence[IntArray]) -> Draft:
    """The draft with the strips, less their faces at edges that would have more than two."""
    if not strips:
        return draft
    first = len(draft.mesh.faces)
    strip = np.repeat(np.arange(len(strips)), [len(faces) for faces in strips])
    draft = draft.with_sewn(np.empty((0, 3)), np.concatenate(strips))
    crowded = draft.edges.crowded // 3
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[crowded[crowded >= first]] = True
    draft = draft.without(dropped)
    made = first + np.arange(len(draft.mesh.faces) - first)
    return draft.telling(tell_faces("Joined halves along open seams", draft.mesh, made, strip[~dropped[first:]]))


def _runs(draft: Draft, loops: Sequence[IntArray], owner_of_face: IntArray, reach_mm: float) -> list[Run]:
    """Every loop cut where the loop beside it changes, and then where the run beside it does.

    One loop may lie beside two runs of another that a hole parts.
    """
    half_edges = np.concatenate(loops)
    lengths = [len(loop) for loop in loops]
    corners, owner = draft.edges.start[half_edges], owner_of_face[half_edges // 3]
    nearest = _nearest_of_other_pieces(draft.mesh.vertices_mm[corners], owner, reach_mm)
    loop_of = np.repeat(np.arange(len(loops)), lengths)
    beside_loop = _cut(np.where(nearest >= 0, loop_of[nearest], -1), lengths)
    run_of = np.full(len(corners), -1)
    for k, (places, _) in enumerate(beside_loop):
        run_of[places] = k
    beside_run = _cut(np.where(nearest >= 0, run_of[nearest], -1), lengths)
    return [Run(corners[places], corners[nearest[places]], closed) for places, closed in beside_run]


def _cut(labels: IntArray, lengths: Sequence[int]) -> list[tuple[IntArray, bool]]:
    """Places of like labels along every loop, those labelled -1 left out, and whether they are the whole loop."""
    ends = np.cumsum([0, *lengths]).tolist()
    stretches = [(low + part, closed) for low, high in pairwise(ends) for part, closed in _alike(labels[low:high])]
    return [(places, closed) for places, closed in stretches if labels[places[len(places) // 2]] >= 0]


def _nearest_of_other_pieces(points_mm: Array, owner: IntArray, reach_mm: float) -> IntArray:
    """For every border corner the nearest one of another piece, -1 where none is within reach."""
    nearest = np.full(len(points_mm), -1)
    for k in np.unique(owner).tolist():
        here, there = np.flatnonzero(owner == k), np.flatnonzero(owner != k)
        if len(there):
            away, found = cKDTree(points_mm[there]).query(points_mm[here], distance_upper_bound=reach_mm)
            near = np.isfinite(away)
            nearest[here[near]] = there[found[near]]
    return nearest


def _alike(labels: IntArray) -> list[tuple[IntArray, bool]]:
    """Stretches of one label around a closed walk, short ones counted to the stretch before; and whether it is all."""
    count = len(labels)
    turns = np.flatnonzero(labels != np.roll(labels, 1))
    long = turns[np.diff(np.r_[turns, turns[:1] + count]) >= LEAST_CORNERS] if len(turns) else turns
    first = long[labels[long] != labels[np.roll(long, 1)]] if len(long) > 1 else long[:0]
    if len(first) == 0:
        return [(np.arange(count) if len(long) == 0 else (long[0] + np.arange(count)) % count, True)]
    sizes = np.diff(np.r_[first, first[:1] + count])
    return [((a + np.arange(n)) % count, False) for a, n in zip(first.tolist(), sizes.tolist(), strict=True)]


def _pairs(runs: Sequence[Run]) -> list[tuple[int, int]]:
    """Pairs of runs each of which lies beside the other for the most part."""
    run_of_corner: dict[int, int] = {}
    for k, run in enumerate(runs):
        run_of_corner.update(dict.fromkeys(run.corners.tolist(), k))
    chosen = []
    for run in runs:
        votes = Counter(run_of_corner[c] for c in run.beside.tolist() if c in run_of_corner)
        best, count = votes.most_common(1)[0] if votes else (-1, 0)
        chosen.append(best if count >= LEAST_CORNERS else -1)
    return [(i, j) for i, j in enumerate(chosen) if j > i and chosen[j] == i]


def _strip(points_mm: Array, one: Run, other: Run, reach_mm: float) -> IntArray:
    """Faces between two runs, less those that would reach too far.

    Both are walked at once; whichever has the nearer next corner takes the next step.
    """
    near, far = _side_by_side(points_mm, one, other)
    steps = _walked(points_mm[near], points_mm[far])
    i: IntArray = np.cumsum(steps) - steps
    j: IntArray = np.cumsum(~steps) - ~steps
    here, there = near[i], far[j]
    ahead = np.where(steps, near[np.minimum(i + 1, len(near) - 1)], far[np.minimum(j + 1, len(far) - 1)])
    faces = np.where(steps[:, None], np.column_stack([ahead, here, there]), np.column_stack([there, ahead, here]))
    sides = np.linalg.norm(points_mm[faces] - points_mm[np.roll(faces, -1, axis=1)], axis=2)
    return np.asarray(faces[sides.max(axis=1) < reach_mm])


def _side_by_side(points_mm: Array, one: Run, other: Run) -> tuple[IntArray, IntArray]:
    """The corners of both runs in the same sense, starting beside each other; a closed one ends where it starts."""
    near, far = one.corners, other.corners[::-1]
    if one.closed and other.closed:
        away, nearest = cKDTree(points_mm[far]).query(points_mm[near])
        start = int(away.argmin())
        near, far = _closed_from(near, start), _closed_from(far, int(nearest[start]))
    elif one.closed:
        near = _closed_from(near, _nearest_to(points_mm[near], points_mm[far[0]]))
    elif other.closed:
        far = _closed_from(far, _nearest_to(points_mm[far], points_mm[near[0]]))
    return near, far


def _closed_from(corners: IntArray, start: int) -> IntArray:
    return np.append(corners[start:], corners[: start + 1])


def _nearest_to(points_mm: Array, at_mm: Array) -> int:
    return int(np.linalg.norm(points_mm - at_mm, axis=1).argmin())


def _walked(near_mm: Array, far_mm: Array) -> BoolArray:
    """Which run takes each step, True for the near one: between two anchors, the one that leaves the ends nearer.

    Stepping alone, without anchors, falls out of step at a spur of a ragged border and never finds back.
    """
    ends = [(0, 0), *_anchors(near_mm, far_mm), (len(near_mm) - 1, len(far_mm) - 1)]
    legs = [_stepped(near_mm[a : c + 1], far_mm[b : d + 1]) for (a, b), (c, d) in pairwise(ends)]
    return np.concatenate(legs)


def _anchors(near_mm: Array, far_mm: Array) -> list[tuple[int, int]]:
    """Pairs of corners each of which has the other for its nearest, as many as follow one another along both runs."""
    _, there = cKDTree(far_mm).query(near_mm)
    _, back = cKDTree(near_mm).query(far_mm)
    here = np.flatnonzero(back[there] == np.arange(len(near_mm)))
    chosen = _longest_rising(there[here].tolist())
    return [(int(here[k]), int(there[here[k]])) for k in chosen]


def _longest_rising(values: Sequence[int]) -> list[int]:
    """Places of a longest strictly rising subsequence (patience sorting)."""
    tops: list[int] = []
    top_place: list[int] = []
    before = []
    for place, value in enumerate(values):
        pile = bisect_left(tops, value)
        before.append(top_place[pile - 1] if pile else -1)
        tops[pile : pile + 1], top_place[pile : pile + 1] = [value], [place]
    chosen = [top_place[-1]] if top_place else []
    while chosen and before[chosen[-1]] >= 0:
        chosen.append(before[chosen[-1]])
    return chosen[::-1]


def _stepped(near_mm: Array, far_mm: Array) -> BoolArray:
    near, far = near_mm.tolist(), far_mm.tolist()  # single corners: Python's own numbers are ten times as fast here
    last_i, last_j = len(near) - 1, len(far) - 1
    steps, i, j = [], 0, 0
    for _ in range(last_i + last_j):
        if j == last_j:
            step = True
        elif i == last_i:
            step = False
        else:
            step = dist(near[i + 1], far[j]) <= dist(near[i], far[j + 1])
        steps.append(step)
        i, j = i + step, j + (not step)
    return np.array(steps, dtype=bool)


def _spacing_mm(draft: Draft, half_edges: IntArray) -> float:
    """Middle length of the border's edges."""
    points, edges = draft.mesh.vertices_mm, draft.edges
    return float(np.median(np.linalg.norm(points[edges.ends_of(half_edges)] - points[edges.start[half_edges]], axis=1)))
