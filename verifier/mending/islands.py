"""A patch of another pass in the middle of a hole, too far from the rim to be zipped to it: kept, and bridged to it.

 ______________            ______________
|   hole       |          |              |
|     ___      |          |     ___      |
|    |   |     |    ->    |====|   |=====|      two bridges make two holes of the one around the island,
|    |___|     |          |    |___|     |      and each is filled as any
|______________|          |______________|
"""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.crossings import crossing_near
from verifier.mending.draft import Draft
from verifier.mending.loops import loops_of
from verifier.mending.surrounded import inside_holes
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, IntArray

# An island's loop has at least so many edges, two for each bridge and as many between.
LEAST_EDGES = 6
BRIDGED = "Bridged to patches inside holes"


def bridge_islands(draft: Draft) -> Draft:
    """Sew bridges from every patch inside a hole to the rim around it; where a bridge would cross something, none."""
    count, piece = draft.pieces
    if count == 1 or len(draft.edges.border) == 0:
        return draft
    largest = int(np.bincount(piece, draft.areas_mm2, count).argmax())
    others = np.arange(count) != largest
    within = inside_holes(draft, piece, others, others) > 0
    if not within.any():
        return draft
    loops = loops_of(draft)
    is_island = [bool(within[piece[loop[0] // 3]]) and len(loop) >= LEAST_EDGES for loop in loops]
    rims = [loop for loop in loops if not within[piece[loop[0] // 3]]]
    if not any(is_island) or not rims:
        return draft
    made = [_bridges(draft, loop, rims) for loop, yes in zip(loops, is_island, strict=True) if yes]
    faces = np.concatenate([np.empty((0, 3), dtype=np.int64), *made])
    if len(faces) == 0:
        return draft
    sewn = draft.with_sewn(np.empty((0, 3)), faces)
    new = np.arange(len(sewn.mesh.faces)) >= len(draft.mesh.faces)
    if len(sewn.edges.crowded) or len(crossing_near(sewn.mesh, new)):
        return draft
    number = np.flatnonzero(new)
    return sewn.telling(tell_faces(BRIDGED, sewn.mesh, number, number // 2))


def _bridges(draft: Draft, island: IntArray, rims: Sequence[IntArray]) -> IntArray:
    """Two bridges of two faces from an island's loop to the rim, on opposite sides; none where they would meet."""
    rim, loop = np.concatenate(rims), np.repeat(np.arange(len(rims)), [len(each) for each in rims])
    away, nearest = cKDTree(_middles(draft, rim)).query(_middles(draft, island))
    first = int(away.argmin())
    inner = [first, (first + len(island) // 2) % len(island)]
    outer = nearest[inner]
    feet = np.unique([_ends(draft, half_edge) for half_edge in (*island[inner], *rim[outer])])
    if len(feet) < 8 or loop[outer[0]] != loop[outer[1]]:
        return np.empty((0, 3), dtype=np.int64)
    made = []
    for near, far in zip(island[inner], rim[outer], strict=True):
        (c, d), (a, b) = _ends(draft, near), _ends(draft, far)
        made += [(b, a, d), (b, d, c)]
    return np.array(made, dtype=np.int64)


def _middles(draft: Draft, half_edges: IntArray) -> Array:
    start, end = (draft.mesh.vertices_mm[k] for k in (draft.edges.start[half_edges], draft.edges.ends_of(half_edges)))
    return np.asarray(0.5 * (start + end))


def _ends(draft: Draft, half_edge: IntArray) -> tuple[int, int]:
    return int(draft.edges.start[half_edge]), int(draft.edges.ends_of(np.array(half_edge)))
