"""Which faces meet at which edge: one table, made once and carried along while faces come and go.

A half-edge is one side of one face: half-edge `3 * face + side` runs from corner `side` of that face to the next one.
The two half-edges of an edge between two faces are twins.
"""

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from verifier.mesh import BoolArray, IntArray, stretches_of

BORDER = -1
CROWDED = -2
GONE = -(2**62)  # beside a face that is taken away; far below the others, whichever of its sides is added
# So many rings of faces around a gap are looked at for a way around it; all faces, where so many are taken away.
RINGS = 4
LARGE_GAP_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Edges:
    """The partner of every half-edge.

    faces : (m, 3) int64
    twin : (3 m,) int64, the half-edge on the other side; BORDER where there is none, CROWDED where there are several
    """

    faces: IntArray
    twin: IntArray

    @property
    def start(self) -> IntArray:
        """The corner every half-edge leaves, (3 m,)."""
        return self.faces.ravel()

    @property
    def end(self) -> IntArray:
        """The corner every half-edge arrives at, (3 m,)."""
        return np.take(self.faces, (1, 2, 0), axis=1).ravel()

    def ends_of(self, half_edges: IntArray) -> IntArray:
        """The corner that each of some half-edges arrives at."""
        return np.asarray(self.start[_ahead(half_edges)])

    @property
    def border(self) -> IntArray:
        """The half-edges with nothing on the other side."""
        return np.flatnonzero(self.twin == BORDER)

    @property
    def crowded(self) -> IntArray:
        """The half-edges of edges where more than two faces meet."""
        return np.flatnonzero(self.twin == CROWDED)

    @property
    def paired(self) -> IntArray:
        """The lower half-edge of every edge between two faces."""
        return np.flatnonzero(self.twin > np.arange(len(self.twin)))

    def disagreeing(self) -> IntArray:
        """The lower half-edge of every edge whose two faces run round in opposite senses."""
        low = self.paired
        start = self.start
        return np.asarray(low[start[low] == start[self.twin[low]]])

    def is_clean(self) -> bool:
        """Whether every edge has two faces that agree."""
        return bool((self.twin >= 0).all()) and len(self.disagreeing()) == 0


def pair_edges(faces: IntArray, vertex_count: int) -> Edges:
    """Find the twin of every half-edge.

    faces : (m, 3) int64, three different corners each
    """
    closed = _twins_when_closed(faces, vertex_count)
    if closed is not None:
        return Edges(faces, closed)
    twin = np.full(3 * len(faces), BORDER, dtype=np.int64)
    _pair_among(twin, np.arange(3 * len(faces)), _edge_keys(faces, vertex_count))
    return Edges(faces, twin)


def without_faces(edges: Edges, dropped: BoolArray) -> Edges:
    """The table after some faces were taken away, without pairing all of it again."""
    kept = np.flatnonzero(~dropped)
    faces, twin = np.take(edges.faces, kept, axis=0), np.empty(3 * len(kept), dtype=np.int64)
    first_side = np.full(len(dropped) + 1, GONE)
    first_side[kept] = 3 * np.arange(len(kept))
    first_side[-1] = -3  # BORDER and CROWDED are sides 2 and 1 of face -1, and stay that
    for some in stretches_of(faces):
        old = np.take(edges.twin.reshape(-1, 3), kept[some], axis=0)
        face = old // 3
        new = np.take(first_side, face) + (old - 3 * face)
        twin.reshape(-1, 3)[some] = np.where(new < CROWDED, BORDER, new)
    crowded = np.flatnonzero(twin == CROWDED)
    if len(crowded):
        twin[crowded] = BORDER
        _pair_among(twin, crowded, _edge_keys(faces, int(faces.max()) + 1, crowded))
    return Edges(faces, twin)


def with_faces(edges: Edges, added: IntArray) -> Edges:
    """The table after faces were sewn to its borders: only borders and new half-edges are paired."""
    faces = np.concatenate([edges.faces, added])
    twin = np.concatenate([edges.twin, np.full(3 * len(added), BORDER, dtype=np.int64)])
    free = np.flatnonzero(twin == BORDER)
    _pair_among(twin, free, _edge_keys(faces, int(faces.max()) + 1, free))
    return Edges(faces, twin)


def with_faces_changed(edges: Edges, faces: IntArray, changed: IntArray) -> Edges:
    """The table after some faces got other corners, without opening the surface: only what is beside them is paired."""
    own = (3 * changed[:, None] + np.arange(3)).ravel()
    beyond = edges.twin[own]
    free = np.union1d(own, beyond[beyond >= 0])
    twin = edges.twin.copy()
    twin[free] = BORDER
    _pair_among(twin, free, _edge_keys(faces, int(faces.max()) + 1, free))
    return Edges(faces, twin)


def with_faces_turned(edges: Edges, turned: BoolArray) -> Edges:
    """The table after some faces were made to run round the other way."""
    which = np.flatnonzero(turned)
    faces, twin = edges.faces.copy(), edges.twin.copy()
    faces[which] = faces[which][:, [0, 2, 1]]
    sides = 3 * which[:, None] + np.arange(3)
    before, now = sides[:, ::-1].ravel(), sides.ravel()
    beyond = edges.twin[before]
    paired = beyond >= 0
    twin[beyond[paired]] = now[paired]
    twin[now] = np.where(paired & turned[beyond // 3], 6 * (beyond // 3) + 2 - beyond, beyond)
    return Edges(faces, twin)


def piece_of_faces(edges: Edges) -> tuple[int, IntArray]:
    """Number of pieces that hang together by edges of two faces, and the piece of every face, (m,)."""
    # The table as it is: three neighbours a face, itself where there is none.
    count = len(edges.faces)
    beyond = (edges.twin // 3).astype(np.int32)
    beyond = np.where(edges.twin < 0, np.repeat(np.arange(count, dtype=np.int32), 3), beyond)
    rows = np.arange(0, 3 * count + 1, 3, dtype=np.int32)
    return _groups(sparse.csr_matrix((np.ones(3 * count), beyond, rows), shape=(count, count)))


def pieces_left(
    pieces: tuple[int, IntArray], dropped: BoolArray, before: Edges, after: Edges
) -> tuple[int, IntArray] | None:
    """The pieces after whole ones were taken away, with those joined whose crowded edge is one of two faces since.

    None where a piece lost some of its faces only: what is left of it may have fallen apart.
    """
    count, piece = pieces
    less, size = np.bincount(piece[dropped], minlength=count), np.bincount(piece, minlength=count)
    if ((less > 0) & (less < size)).any():
        return None
    left = np.take(np.cumsum(less == 0) - 1, piece[~dropped])
    was_crowded = np.repeat(~dropped, 3)[before.crowded]
    joined = _kept_numbers(before.crowded[was_crowded], dropped)
    joined = joined[after.twin[joined] >= 0]
    groups, group = components(int((less == 0).sum()), left[joined // 3], left[after.twin[joined] // 3])
    return groups, np.take(group, left)


def _kept_numbers(half_edges: IntArray, dropped: BoolArray) -> IntArray:
    """What half-edges of faces that stay are numbered once others are gone."""
    gone = np.flatnonzero(dropped)
    return np.asarray(half_edges - 3 * np.searchsorted(gone, half_edges // 3))


def stays_whole(edges: Edges, dropped: BoolArray) -> bool:
    """Whether one piece is surely one piece still without some faces: shown by a few rings of faces around the gaps.

    Whoever went through a gap can go around it, when the faces that bordered on it hang together beside it.
    """
    gone = np.flatnonzero(dropped)
    if len(gone) > LARGE_GAP_SHARE * len(dropped):
        return False
    own, beyond = _neighbours(edges, gone)
    outer = ~dropped[beyond]
    rim, gap = beyond[outer], _groups_among(gone, own[~outer], beyond[~outer])[np.searchsorted(gone, own[outer])]
    near = _rings_around(edges, gone, dropped)
    own, beyond = _neighbours(edges, near)
    part = _groups_among(near, own, beyond)[np.searchsorted(near, rim)]
    order = np.lexsort((part, gap))
    return not bool(((np.diff(gap[order]) == 0) & (np.diff(part[order]) != 0)).any())


def pieces_of_one(edges: Edges, dropped: BoolArray) -> tuple[int, IntArray] | None:
    """The pieces of what was one without some faces: itself, and crumbs cut off between the gaps; None where unsure."""
    if np.count_nonzero(dropped) > LARGE_GAP_SHARE * len(dropped):
        return None
    crumbs, group = _crumbs(edges, dropped)
    beside = edges.twin[(3 * crumbs[:, None] + np.arange(3)).ravel()]
    less = dropped.copy()
    less[crumbs] = True
    if (beside == CROWDED).any() or not stays_whole(edges, less):
        return None
    _, first, group = np.unique(group, return_index=True, return_inverse=True)
    firsts = np.r_[less.argmin(), crumbs[first]]
    number = np.empty(len(firsts), dtype=np.int64)
    number[firsts.argsort()] = np.arange(len(firsts))  # in the order of their first faces, as they are found anew
    piece = np.full(len(dropped), number[0])
    piece[crumbs] = number[1 + group]
    return len(firsts), piece[~dropped]


def _crumbs(edges: Edges, dropped: BoolArray) -> tuple[IntArray, IntArray]:
    """Faces beside the gaps from which none further off is reached, rising, and which of them hang together."""
    near = _rings_around(edges, np.flatnonzero(dropped), dropped)
    own, beyond = _neighbours(edges, near)
    part = _groups_among(near, own, beyond)
    leads_on = np.zeros(len(near) + 1, dtype=bool)
    leads_on[part[np.searchsorted(near, own[~dropped[beyond] & ~np.isin(beyond, near)])]] = True
    is_crumb = ~leads_on[part]
    return near[is_crumb], part[is_crumb]


def _rings_around(edges: Edges, faces: IntArray, dropped: BoolArray) -> IntArray:
    """A few rings of faces around some, rising, without those and other dropped ones."""
    near = faces
    for _ in range(1 + RINGS):
        _, ahead = _neighbours(edges, near)
        near = np.union1d(near[~dropped[near]], ahead[~dropped[ahead]])
    return near


def _neighbours(edges: Edges, faces: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs of one of the faces and another that shares an edge with it."""
    beyond = edges.twin[(3 * faces[:, None] + np.arange(3)).ravel()]
    return np.repeat(faces, 3)[beyond >= 0], beyond[beyond >= 0] // 3


def _groups_among(chosen: IntArray, left: IntArray, right: IntArray) -> IntArray:
    """The group of each of some numbers, sorted, given pairs that hang together; other numbers' pairs are left out."""
    here = np.isin(right, chosen)
    return components(len(chosen), np.searchsorted(chosen, left[here]), np.searchsorted(chosen, right[here]))[1]


def grows_on(edges: Edges, first_new: int) -> bool:
    """Whether all faces from a number on hang together with those before it."""
    count = len(edges.faces) - first_new
    beyond = np.maximum(edges.twin[3 * first_new :] // 3 - first_new, -1) + 1  # 0: a face from before
    own = np.repeat(np.arange(1, count + 1), 3)
    paired = edges.twin[3 * first_new :] >= 0
    groups, _ = components(count + 1, own[paired], beyond[paired])
    return groups == 1


def components(count: int, left: IntArray, right: IntArray) -> tuple[int, IntArray]:
    """Connected groups of `count` things, given pairs that belong together: how many, and the group of each."""
    links = sparse.csr_matrix((np.ones(len(left)), (left, right)), shape=(count, count))
    return _groups(links)


def _groups(links: sparse.csr_matrix) -> tuple[int, IntArray]:
    """Connected groups: how many, and the group of each; links of float64, which others would be made into first."""
    groups, label = csgraph.connected_components(links, directed=False)
    return int(groups), label.astype(np.int64)


def _twins_when_closed(faces: IntArray, vertex_count: int) -> IntArray | None:
    """Twins of a surface whose every directed edge occurs once and has its opposite; None for any other.

    Half-edges are entries (start, end) of a sparse matrix; in a closed surface the transposed matrix has its entries in
    the same places. Sorting 3 million keys takes three times as long.
    """
    start, end = faces.ravel(), np.take(faces, (1, 2, 0), axis=1).ravel()
    # The same edges run either way, so any sum over them is the same either way: shows an open surface in a tenth of
    # the time. Whole numbers that run over keep their remainder.
    if np.dot(start * start, end) != np.dot(end * end, start):
        return None
    names = np.arange(len(start), dtype=np.int32)
    outgoing = sparse.coo_matrix((names, (start, end)), shape=(vertex_count, vertex_count)).tocsr()
    if outgoing.nnz != len(start):
        return None
    incoming = outgoing.T.tocsr()
    incoming.sort_indices()
    outgoing.sort_indices()
    if not np.array_equal(outgoing.indptr, incoming.indptr) or not np.array_equal(outgoing.indices, incoming.indices):
        return None
    twin = np.empty(len(start), dtype=np.int64)
    twin[outgoing.data] = incoming.data
    return twin


def _ahead(half_edges: IntArray) -> IntArray:
    """The next half-edge of the same face, for each."""
    return np.where(half_edges % 3 == 2, half_edges - 2, half_edges + 1)


def _edge_keys(faces: IntArray, vertex_count: int, half_edges: IntArray | None = None) -> IntArray:
    """One number an edge, the same from both sides, for every or for some half-edges."""
    if half_edges is None:
        start, end = faces.ravel(), np.take(faces, (1, 2, 0), axis=1).ravel()
    else:
        start, end = faces.ravel()[half_edges], faces.ravel()[_ahead(half_edges)]
    return np.minimum(start, end) * vertex_count + np.maximum(start, end)


def _pair_among(twin: IntArray, half_edges: IntArray, keys: IntArray) -> None:
    """Write the twins of those half-edges that share a key; one alone stays as it is."""
    order = np.argsort(keys)  # which of two equal ones comes first is all one
    sorted_keys = np.take(keys, order)
    as_next = np.append(sorted_keys[1:] == sorted_keys[:-1], False)
    first = np.flatnonzero(as_next & ~np.append(False, as_next[:-1]))
    pair = first[~as_next[first + 1]]
    left, right = half_edges[order[pair]], half_edges[order[pair + 1]]
    twin[left], twin[right] = right, left
    of_three = np.flatnonzero(as_next[1:] & as_next[:-1])
    twin[half_edges[order[(of_three[:, None] + np.arange(3)).ravel()]]] = CROWDED
