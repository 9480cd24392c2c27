"""The space around a hole, parted by the forms beside it led on for ever; which of the parts are material.

    |     hole      |
____|               |____            ____|_______|____
    .               .          ->        | in    |
    . in?           .                ____|_______|____
____|...............|____
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from verifier.mending.edges import components
from verifier.mending.forms import Form, Patches, Round, sides_of
from verifier.mending.grid import Grid
from verifier.mesh import Array, BoolArray, IntArray

# So deep behind a measured face there is material, and so far before it air: a third of the thinnest moulded wall
# (1 mm, common practice, no source), three times the scatter of a scan.
BESIDE_MM = 0.3
# What a square millimetre of new surface counts beside one of measured surface that would be contradicted: little, so
# that the scan decides wherever it says anything, and the least new surface where it does not.
NEW_SURFACE = 0.05
# A bore's wall counts less: a bore runs right through what nobody saw, and two arms are bored in one line.
BORE_SHARE = 0.5
# Areas are handed to the solver as whole numbers of this many square millimetres.
STEP_MM2 = 0.001


@dataclass(frozen=True, slots=True)
class Filling:
    """Which grid points are in material.

    code : (n,) the side of every form; inside : (n,)
    """

    code: IntArray
    inside: BoolArray


def material_on(grid: Grid, forms: Sequence[Form], patches: Patches) -> Filling:
    """Say of every part between the forms whether it is material: least surface contradicted, least new surface.

    Solved exactly as a minimum cut between what lies behind measured faces and what lies before them.
    """
    points = grid.points_mm
    code = sides_of(forms, points)
    number = np.arange(len(points)).reshape(grid.counts)
    pairs = np.concatenate(
        [
            np.column_stack([np.take(number, range(n - 1), axis).ravel(), np.take(number, range(1, n), axis).ravel()])
            for axis, n in enumerate(grid.counts)
        ]
    )
    alike = code[pairs[:, 0]] == code[pairs[:, 1]]
    count, cell = components(len(points), *pairs[alike].T)
    behind, before = (_area_in(grid, forms, code, cell, count, patches, sign * BESIDE_MM) for sign in (-1.0, 1.0))
    parted = pairs[~alike]
    bores = sum(1 << k for k, form in enumerate(forms) if isinstance(form, Round) and form.outward < 0)
    across: IntArray = code[parted[:, 0]] ^ code[parted[:, 1]]
    areas = NEW_SURFACE * grid.step_mm**2 * np.where(across & bores, BORE_SHARE, 1.0)
    inside = _least_cut(behind, before, np.sort(cell[parted], axis=1), areas)
    return Filling(code, inside[cell])


def _area_in(
    grid: Grid, forms: Sequence[Form], code: IntArray, cell: IntArray, count: int, patches: Patches, off_mm: float
) -> Array:
    """How much measured surface lies so far beside each part, (count,)."""
    at = patches.middles_mm + off_mm * patches.normals
    steps = (at - grid.low_mm) / grid.step_mm
    low = np.floor(steps).astype(np.int64)
    within = ((low >= 0) & (low < np.array(grid.counts) - 1)).all(axis=1)
    at, low, areas = at[within], low[within], patches.areas_mm2[within]
    beyond = steps[within] - low
    own = sides_of(forms, at)
    found = np.full(len(at), -1)
    for corner in np.ndindex(2, 2, 2):
        there = np.ravel_multi_index(tuple((low + corner).T), grid.counts)
        near = np.linalg.norm(beyond - corner, axis=1) < 1.0  # further off there may be another part of that code
        found = np.where((found < 0) & near & (code[there] == own), there, found)
    return np.asarray(np.bincount(cell[found[found >= 0]], areas[found >= 0], count), dtype=np.float64)


def _least_cut(behind: Array, before: Array, borders: IntArray, areas: Array) -> BoolArray:
    """Which parts are material, (count,).

    borders : (q, 2) pairs of parts, one for each pair of grid points that they part; areas : (q,) what each counts
    """
    count = len(behind)
    keys, pair = np.unique(borders[:, 0] * count + borders[:, 1], return_inverse=True)
    one, other, shared = keys // count, keys % count, np.bincount(pair.reshape(-1), areas)
    here, source, sink = np.arange(count), np.full(count, count), np.full(count, count + 1)
    start, end = np.r_[one, other, source, here], np.r_[other, one, here, sink]
    capacity = np.round(np.r_[shared, shared, behind, before] / STEP_MM2).astype(np.int32)
    graph = sparse.csr_matrix((capacity, (start, end)), shape=(count + 2, count + 2))
    flow = csgraph.maximum_flow(graph, count, count + 1).flow
    left = graph - flow
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = csgraph.breadth_first_order(left, count, return_predecessors=False)
    inside = np.zeros(count + 2, dtype=bool)
    inside[reached] = True
    return inside[:count]
