"""Open loops: the borders of the surface, walked edge by edge."""

from collections.abc import Sequence

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import Edges
from verifier.mending.telling import tell_faces
from verifier.mesh import BoolArray, IntArray, Mesh

NOWHERE = -1
# Around a corner on a border lie so many faces at most, or all corners are asked how many they have.
USUAL_FAN = 12
# A rim has at least this many edges; a smaller loop is a pinhole, however well another one faces it.
RIM_EDGES = 8
# A loop that encloses less than this share of what a circle of its length would is a slit and has no axis.
ROUNDNESS = 0.2


def open_loops(edges: Edges) -> list[IntArray]:
    """The half-edges of every open loop in the order they are walked, surface on the left.

    Where fans share a corner (a narrow place between holes) the walk keeps to the same hole, so that filling makes one
    fan of them.
    """
    border = edges.border
    if len(border) == 0:
        return []
    arriving = _arriving_in_same_fan(edges, border)
    order = np.argsort(edges.start[border], kind="stable")
    turned = np.empty_like(arriving)
    turned[order] = arriving[order[_next_at_same_corner(edges.start[border][order])]]
    known = turned != NOWHERE
    return _walk(border, dict(zip(turned[known].tolist(), border[known].tolist(), strict=True)))


def loops_of(draft: Draft) -> list[IntArray]:
    """The open loops of a surface; a dozen stages ask in turn, most of which leave it as it is."""
    return draft.once(_walked)


def _walked(draft: Draft) -> list[IntArray]:
    return open_loops(draft.edges)


def longest(mesh: Mesh, edges: Edges, loops: Sequence[IntArray]) -> IntArray:
    """The loop that is longest in millimetres: a hole in a part seen finer than its table has more edges than that."""
    return by_length(mesh, edges, loops)[0]


def by_length(mesh: Mesh, edges: Edges, loops: Sequence[IntArray]) -> list[IntArray]:
    """Loops by their length in millimetres, the longest first."""

    def length_mm(loop: IntArray) -> float:
        corners = mesh.vertices_mm[edges.start[loop]]
        return float(np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1).sum())

    return sorted(loops, key=length_mm, reverse=True)


def _next_at_same_corner(corner: IntArray) -> IntArray:
    """For every place in a sorted list the next one with the same corner, the first after the last."""
    count = len(corner)
    first = np.flatnonzero(np.r_[True, corner[1:] != corner[:-1]])
    ahead = np.arange(1, count + 1)
    ahead[np.r_[first[1:], count] - 1] = first
    return ahead


def cut_knotted_loops(draft: Draft) -> Draft:
    """Take away the faces where one loop passes a corner twice, until every loop is a simple one.

    Such a corner holds a crumb of surface by a single point. Each round takes at least one face, and the crumbs are
    small: the rounds end.
    """
    while True:
        knots = knots_of(draft.edges)
        if len(knots) == 0:
            return draft
        dropped: BoolArray = np.asarray(np.isin(draft.mesh.faces, knots).any(axis=1))
        step = tell_faces("Cut surface that hung by one corner", draft.mesh, np.flatnonzero(dropped))
        draft = draft.without(dropped).telling(step)


def knots_of(edges: Edges) -> IntArray:
    """Corners that one loop passes twice."""
    corners = [_passed_twice(edges.start[loop]) for loop in open_loops(edges)]
    return np.concatenate(corners) if corners else np.empty(0, dtype=np.int64)


def _arriving_in_same_fan(edges: Edges, border: IntArray) -> IntArray:
    """For every border half-edge the one that arrives where it leaves, on the other side of the same fan.

    NOWHERE where going round the fan never comes to an end: two of its faces look opposite ways.
    """
    leaving, rounds, most = border, 0, USUAL_FAN
    while True:
        entering = np.where(leaving % 3 == 0, leaving + 2, leaving - 1)
        beyond = edges.twin[entering]
        rounds += 1
        if rounds == USUAL_FAN:
            most = int(np.bincount(edges.start).max())
        if (beyond < 0).all() or rounds > most:
            return np.where(beyond < 0, entering, NOWHERE)
        leaving = np.where(beyond >= 0, beyond, leaving)


def _walk(border: IntArray, following: dict[int, int]) -> list[IntArray]:
    """Cycles of the walk, in the order of their first half-edge.

    A walk that comes to an edge of three faces, or of two that look opposite ways, goes on nowhere and is no loop.
    """
    loops = []
    seen: set[int] = set()
    for first in border.tolist():
        if first in seen:
            continue
        loop, ahead = [first], following.get(first, NOWHERE)
        while ahead not in (first, NOWHERE):
            loop.append(ahead)
            ahead = following.get(ahead, NOWHERE)
        seen.update(loop)
        if ahead == first:
            loops.append(np.array(loop, dtype=np.int64))
    return loops


def _passed_twice(corners: IntArray) -> IntArray:
    values, times = np.unique(corners, return_counts=True)
    return np.asarray(values[times > 1])
