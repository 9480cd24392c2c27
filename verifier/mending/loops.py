"""Open loops: the borders of the surface, walked edge by edge."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import Edges
from verifier.mending.telling import tell_faces
from verifier.mesh import BoolArray, IntArray


def open_loops(edges: Edges) -> list[IntArray]:
    """The half-edges of every open loop in the order they are walked, surface on the left.

    Where two fans share a corner (a narrow place between two holes) the walk keeps to the same hole, so that filling
    makes one fan of the two.
    """
    border = edges.border
    if len(border) == 0:
        return []
    arriving = _arriving_in_same_fan(edges, border)
    order = np.argsort(edges.start[border], kind="stable")
    corner = edges.start[border][order]
    twice = np.flatnonzero(corner[1:] == corner[:-1])
    one, other = order[twice], order[twice + 1]
    arriving[one], arriving[other] = arriving[other].copy(), arriving[one].copy()
    following = np.empty(len(edges.twin), dtype=np.int64)
    following[arriving] = border
    return _walk(border, following)


def cut_knotted_loops(draft: Draft) -> Draft:
    """Take away the faces where one loop passes a corner twice, until every loop is a simple one.

    Such a corner holds a crumb of surface by a single point. Each round takes at least one face, and the crumbs are
    small: the rounds end.
    """
    while True:
        loops = open_loops(draft.edges)
        corners = [_passed_twice(draft.edges.start[loop]) for loop in loops]
        knots = np.concatenate(corners) if corners else np.empty(0, dtype=np.int64)
        if len(knots) == 0:
            return draft
        dropped: BoolArray = np.asarray(np.isin(draft.mesh.faces, knots).any(axis=1))
        step = tell_faces("Cut surface that hung by one corner", draft.mesh, np.flatnonzero(dropped))
        draft = draft.without(dropped).telling(step)


def _arriving_in_same_fan(edges: Edges, border: IntArray) -> IntArray:
    """For every border half-edge the one that arrives where it leaves, on the other side of the same fan."""
    leaving = border.copy()
    while True:
        entering = np.where(leaving % 3 == 0, leaving + 2, leaving - 1)
        beyond = edges.twin[entering]
        if (beyond < 0).all():
            return entering
        leaving = np.where(beyond >= 0, beyond, leaving)


def _walk(border: IntArray, following: IntArray) -> list[IntArray]:
    """Cycles of the walk, in the order of their first half-edge."""
    loops = []
    seen: set[int] = set()
    for first in border.tolist():
        if first in seen:
            continue
        loop = [first]
        while (ahead := int(following[loop[-1]])) != first:
            loop.append(ahead)
        seen.update(loop)
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def _passed_twice(corners: IntArray) -> IntArray:
    values, times = np.unique(corners, return_counts=True)
    return np.asarray(values[times > 1])
