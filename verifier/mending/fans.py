"""Fans: the faces around a corner that hang together edge by edge. A sound corner has one."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import BORDER, Edges
from verifier.mending.telling import tell_points
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# The copies of a corner that two fans shared are drawn this far into their own fan. Left in one place they would weld
# again when the written file is read; two microns are a hundred steps of a 32-bit float at 200 mm and a fiftieth of the
# spacing of a scan's points.
APART_MM = 0.002


def fan_of_half_edges(edges: Edges, among: IntArray) -> tuple[IntArray, BoolArray]:
    """For some half-edges the fan each belongs to at the corner it leaves, and whether that fan is open.

    among : (k,) all half-edges of some corners, in order

    Half-edges leaving a corner follow one another around it. Each looks twice as far ahead with every round, so that a
    few rounds reach all around; an open fan is named by its last half-edge, a closed one by its lowest.
    """
    place = np.empty(len(edges.twin), dtype=np.int64)
    place[among] = np.arange(len(among))
    beyond = edges.twin[np.where(among % 3 == 0, among + 2, among - 1)]
    ends = beyond < 0
    ahead = place[np.where(ends, among, beyond)]
    lowest = np.minimum(among, among[ahead])
    most = int(np.bincount(edges.start[among]).max(initial=1))
    for _ in range(most.bit_length()):
        lowest = np.minimum(lowest, lowest[ahead])
        ahead = ahead[ahead]
    is_open = ends[ahead]
    return np.where(is_open, among[ahead], lowest), np.asarray(is_open)


def _following(edges: Edges) -> IntArray:
    """For every half-edge the next that leaves the same corner: the twin of the one that arrives there in its face."""
    return np.ascontiguousarray(edges.twin.reshape(-1, 3)[:, [2, 0, 1]]).ravel()


def _not_surrounded(edges: Edges) -> IntArray:
    """The half-edges that leave corners which are not surrounded by one fan, in order; all where faces disagree.

    Going around a corner from one of its half-edges comes home after as many steps as half-edges leave it, when it has
    one closed fan. That is walked for all corners at once, in a third of the time of naming every fan.
    """
    start, following = edges.start, _following(edges)
    if len(edges.disagreeing()):
        return np.arange(len(start))
    degree = np.bincount(start)
    first = np.full(len(degree), BORDER)
    first[start] = np.arange(len(start))
    suspect = np.zeros(len(degree), dtype=bool)
    walkers = np.flatnonzero(first >= 0)
    here, steps = first[walkers], 0
    while len(walkers):
        here, steps = np.take(following, here), steps + 1
        home, lost = here == first[walkers], here < 0
        suspect[walkers[lost]] = True
        suspect[walkers[home]] = degree[walkers[home]] != steps
        under_way = ~(home | lost)
        walkers, here = walkers[under_way], here[under_way]
    return np.flatnonzero(suspect[start]) if suspect.any() else np.empty(0, dtype=np.int64)


def _leaving_borders(edges: Edges) -> IntArray:
    """The half-edges that leave corners on a border, in order."""
    on_border = np.zeros(int(edges.faces.max(initial=-1)) + 1, dtype=bool)
    on_border[edges.start[edges.border]] = True
    return np.flatnonzero(on_border[edges.start])


def split_bow_ties(draft: Draft, *, after_cut: bool = False) -> Draft:
    """Give every fan but the largest at a corner its own copy of that corner, drawn two microns into the fan.

    Two open fans of one piece that face the same way are the two sides of a narrow place between holes: their corner
    stays one, and filling either hole joins them.

    after_cut : look at the corners on borders only, of a surface that had no such corner before faces were cut out
    """
    edges = draft.edges
    among = _leaving_borders(edges) if after_cut else _not_surrounded(edges)
    if len(among) == 0:
        return draft
    fan, is_open = fan_of_half_edges(edges, among)
    names, place, size = np.unique(fan, return_index=True, return_counts=True)
    half_edge = among[place]
    extra = _fans_to_split(draft, edges.start[half_edge], size, is_open[place], half_edge)
    if len(extra) == 0:
        return draft
    copy_of_fan = np.full(len(names), -1)
    copy_of_fan[extra] = np.arange(len(extra))
    copy = copy_of_fan[np.searchsorted(names, fan)]
    leaving, copy = among[copy >= 0], copy[copy >= 0]
    corner = edges.start[half_edge[extra]]
    copies = _drawn_in(draft.mesh, leaving, copy, corner)
    start = edges.start.copy()
    start[leaving] = len(draft.mesh.vertices_mm) + copy
    faces = start.reshape(-1, 3)
    split = draft.with_corners(np.concatenate([draft.mesh.vertices_mm, copies]), faces)
    return split.telling(tell_points("Split corners where surfaces touch", draft.mesh.vertices_mm[corner]))


def _fans_to_split(draft: Draft, corner: IntArray, size: IntArray, is_open: BoolArray, half_edge: IntArray) -> IntArray:
    """The fans that get a copy of their corner: all but the largest, or but the largest two that a hole will join."""
    order = np.lexsort((-size, corner))
    rank = np.empty(len(corner), dtype=np.int64)
    first = np.r_[True, corner[order][1:] != corner[order][:-1]]
    rank[order] = np.arange(len(order)) - np.maximum.accumulate(np.where(first, np.arange(len(order)), 0))
    second = np.flatnonzero(rank == 1)
    if len(second) == 0:
        return second
    leader = order[np.searchsorted(corner[order], corner[second])]
    _, piece = draft.pieces
    joined = is_open[second] & is_open[leader] & (piece[half_edge[second] // 3] == piece[half_edge[leader] // 3])
    kept = np.zeros(len(corner), dtype=bool)
    kept[second[joined]] = True
    return np.flatnonzero((rank > 0) & ~kept)


def _drawn_in(mesh: Mesh, half_edges: IntArray, copy: IntArray, corner: IntArray) -> Array:
    """Places of the copies, (c, 3): the corner of each drawn towards the middle of its fan.

    half_edges, copy : (k,) the half-edges that leave a copy, and which
    """
    middles = np.zeros((len(corner), 3))
    np.add.at(middles, copy, mesh.vertices_mm[mesh.faces[half_edges // 3]].mean(axis=1))
    middles /= np.bincount(copy, minlength=len(corner))[:, None]
    away = middles - mesh.vertices_mm[corner]
    length = np.linalg.norm(away, axis=1, keepdims=True)
    return np.asarray(mesh.vertices_mm[corner] + APART_MM * away / np.maximum(length, APART_MM))
