"""Fans: the faces around a corner that hang together edge by edge. A sound corner has one."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import Edges
from verifier.mending.telling import tell_points
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# The copies of a corner that two fans shared are drawn this far into their own fan. Left in one place they would weld
# again when the written file is read; two microns are a hundred steps of a 32-bit float at 200 mm and a fiftieth of the
# spacing of a scan's points.
APART_MM = 0.002


def fan_of_half_edges(edges: Edges) -> tuple[IntArray, BoolArray]:
    """For every half-edge the fan it belongs to at the corner it leaves, and whether that fan is open.

    Half-edges leaving a corner follow one another around it. Each looks twice as far ahead with every round, so that a
    few rounds reach all around; an open fan is named by its last half-edge, a closed one by its lowest.
    """
    names = np.arange(len(edges.twin))
    entering = np.where(names % 3 == 0, names + 2, names - 1)
    ahead = np.where(edges.twin[entering] >= 0, edges.twin[entering], names)
    lowest = np.minimum(names, ahead)
    most = int(np.bincount(edges.start).max(initial=1))
    for _ in range(most.bit_length()):
        lowest = np.minimum(lowest, lowest[ahead])
        ahead = ahead[ahead]
    is_open = edges.twin[entering[ahead]] < 0
    return np.where(is_open, ahead, lowest), is_open


def split_bow_ties(draft: Draft) -> Draft:
    """Give every fan but the largest at a corner its own copy of that corner, drawn two microns into the fan.

    Two open fans of one piece that face the same way are the two sides of a narrow place between holes: their corner
    stays one, and filling either hole joins them.
    """
    edges = draft.edges
    fan, is_open = fan_of_half_edges(edges)
    names, half_edge, size = np.unique(fan, return_index=True, return_counts=True)
    corner = edges.start[half_edge]
    if len(names) == np.count_nonzero(np.bincount(edges.start)):
        return draft
    extra = _fans_to_split(draft, corner, size, is_open[half_edge], half_edge)
    if len(extra) == 0:
        return draft
    number = np.full(len(edges.twin), -1)
    number[names[extra]] = len(draft.mesh.vertices_mm) + np.arange(len(extra))
    start = np.where(number[fan] >= 0, number[fan], edges.start)
    faces = start.reshape(-1, 3)
    copies = _drawn_in(draft.mesh, faces, fan, names[extra], corner[extra])
    split = draft.with_corners(np.concatenate([draft.mesh.vertices_mm, copies]), faces)
    return split.telling(tell_points("Split corners where surfaces touch", draft.mesh.vertices_mm[corner[extra]]))


def _fans_to_split(draft: Draft, corner: IntArray, size: IntArray, is_open: BoolArray, half_edge: IntArray) -> IntArray:
    """The fans that get a copy of their corner: all but the largest, or but the largest two that a hole will join."""
    order = np.lexsort((-size, corner))
    rank = np.empty(len(corner), dtype=np.int64)
    first = np.r_[True, corner[order][1:] != corner[order][:-1]]
    rank[order] = np.arange(len(order)) - np.maximum.accumulate(np.where(first, np.arange(len(order)), 0))
    second = np.flatnonzero(rank == 1)
    leader = order[np.searchsorted(corner[order], corner[second])]
    _, piece = draft.pieces
    joined = is_open[second] & is_open[leader] & (piece[half_edge[second] // 3] == piece[half_edge[leader] // 3])
    kept = np.zeros(len(corner), dtype=bool)
    kept[second[joined]] = True
    return np.flatnonzero((rank > 0) & ~kept)


def _drawn_in(mesh: Mesh, faces: IntArray, fan: IntArray, names: IntArray, corner: IntArray) -> Array:
    """Places of the copies: the corner drawn towards the middle of its fan."""
    place = np.full(len(fan), -1)
    place[names] = np.arange(len(names))
    mine = np.flatnonzero(place[fan] >= 0)
    target, face = place[fan[mine]], mine // 3
    middles = np.zeros((len(names), 3))
    np.add.at(middles, target, mesh.vertices_mm[mesh.faces[face]].mean(axis=1))
    middles /= np.bincount(target, minlength=len(names))[:, None]
    away = middles - mesh.vertices_mm[corner]
    length = np.linalg.norm(away, axis=1, keepdims=True)
    return np.asarray(mesh.vertices_mm[corner] + APART_MM * away / np.maximum(length, APART_MM))
