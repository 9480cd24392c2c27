"""What is near some faces, by the boxes around them: all that may touch them, without asking any pair."""

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from verifier.mesh import Array, BoolArray, IntArray, Mesh, corners_along_axes, stretches_of

# Cells along the longest side of a grid at most.
MOST_CELLS = 200.0
# Long faces mark the cells of their boxes one by one; where there are more of them, all points are near.
MOST_LONG = 20_000

Cells = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class _Grid:
    """Cells over a box, with two layers around it: one next to it, and one that stands for all beyond."""

    low_mm: Array
    high_mm: Array
    cell_mm: float

    @property
    def shape(self) -> IntArray:
        return np.asarray(((self.high_mm - self.low_mm) / self.cell_mm).astype(int) + 5)

    def cells_of(self, places_mm: Array) -> Cells:
        """The cell of each place, (3, n)."""
        cells = np.empty((3, len(places_mm)), dtype=np.int32)
        for axis, along in enumerate(places_mm.T):
            cells[axis] = np.clip((along - self.low_mm[axis]) / self.cell_mm + 2.0, 0, self.shape[axis] - 1)
        return cells


def may_meet_any(mesh: Mesh, fresh: BoolArray, *, closely: bool) -> BoolArray:
    """Faces whose box may meet a fresh face's box, (m,); too many rather than too few.

    closely : of long faces those whose own boxes may meet one; all of them where left out

    A face no longer than a cell of the grid lies, with its first corner, within a cell of what its box meets. So one
    corner is asked, and a million faces cost 0.1 s. Longer faces are few, but those of a flat underside, as long as the
    part, take four fifths of the time in which crossings are looked for.
    """
    if not fresh.any():
        return fresh
    some = mesh.vertices_mm[mesh.faces[:: 1 + len(mesh.faces) // 10_000]]
    own = mesh.corners_of(np.flatnonzero(fresh))
    grid = _grid_over(own.reshape(-1, 3) if closely else mesh.vertices_mm, 4.0 * float(np.ptp(some, axis=1).mean()))
    marked = np.zeros(grid.shape, dtype=bool)
    _mark_boxes(marked, grid.cells_of(own.min(axis=1)) - 1, grid.cells_of(own.max(axis=1)) + 1)
    cells = grid.cells_of(mesh.vertices_mm)
    near = marked[tuple(cells)][mesh.faces[:, 0]]
    long = _longer_than(mesh, grid.cell_mm)
    near[long] = _hold_a_mark(marked, cells[:, mesh.faces[long]]) if closely else True
    return np.asarray(near)


def may_come_near(points_mm: Array, mesh: Mesh, reach_mm: float) -> BoolArray:
    """Which points may lie within reach of a face, (q,); too many rather than too few.

    A point within reach of a face no longer than a cell lies within two cells of its first corner.
    """
    grid = _grid_over(points_mm, reach_mm)
    long = mesh.corners_of(_longer_than(mesh, grid.cell_mm))
    if len(long) > MOST_LONG:
        return np.ones(len(points_mm), dtype=bool)
    marked = np.zeros(grid.shape, dtype=bool)
    marked[tuple(grid.cells_of(mesh.vertices_mm)[:, mesh.faces[:, 0]])] = True
    _mark_boxes(marked, grid.cells_of(long.min(axis=1)), grid.cells_of(long.max(axis=1)))
    return np.asarray(ndimage.maximum_filter(marked, size=5)[tuple(grid.cells_of(points_mm))])


def may_be_beside(points_mm: Array, others_mm: Array, reach_mm: float) -> BoolArray:
    """Which points may lie within reach of one of the others, (q,); too many rather than too few."""
    grid = _grid_over(others_mm, reach_mm)
    marked = np.zeros(grid.shape, dtype=bool)
    marked[tuple(grid.cells_of(others_mm))] = True
    return np.asarray(ndimage.maximum_filter(marked, size=3)[tuple(grid.cells_of(points_mm))])


def _grid_over(places_mm: Array, cell_mm: float) -> _Grid:
    """Cells of at least this size over the box of some places."""
    low, high = (np.array([at(axis) for axis in places_mm.T]) for at in (np.min, np.max))
    return _Grid(low, high, max(cell_mm, float((high - low).max()) / MOST_CELLS))


def _mark_boxes(marked: BoolArray, first: Cells, last: Cells) -> None:
    """Mark the cells of boxes, given the first and the last cell of each, (3, k)."""
    for a, b in zip(first.T, last.T + 1, strict=True):
        marked[a[0] : b[0], a[1] : b[1], a[2] : b[2]] = True


def _longer_than(mesh: Mesh, limit_mm: float) -> IntArray:
    """Numbers of the faces whose box is longer than that along any axis."""
    found = np.empty(len(mesh.faces), dtype=bool)
    for stretch in stretches_of(mesh.faces):
        a, b, c = corners_along_axes(mesh, stretch)
        x, y, z = np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c) > limit_mm
        found[stretch] = x | y | z
    return np.flatnonzero(found)


def _hold_a_mark(marked: BoolArray, corners: Cells) -> BoolArray:
    """Which boxes of cells hold a marked one, by how many there are between the grid's own corner and each of theirs.

    corners : (3, k, 3) the cells that the corners of k faces are in
    """
    sums = np.zeros(np.add(marked.shape, 1), dtype=np.int32)
    sums[1:, 1:, 1:] = marked
    for axis in range(3):
        np.cumsum(sums, axis=axis, out=sums)
    ends = corners.min(axis=2), corners.max(axis=2) + 1
    counted = np.zeros(corners.shape[1], dtype=np.int32)
    for which in product((0, 1), repeat=3):
        x, y, z = (ends[upper][axis] for axis, upper in enumerate(which))
        counted += sums[x, y, z] if sum(which) % 2 else -sums[x, y, z]
    return np.asarray(counted > 0)
