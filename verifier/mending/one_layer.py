"""Where a closed surface lies in one layer it cannot run through itself: shown by what is inside and what is outside.

         |  outside: wound around 0 times      A line that meets the surface in one sense only, on its way from a
    _____|_______________                      place outside to one inside, meets it once. Two faces that ran
         |                                     through each other there would be met twice.
         |  inside: wound around once

Space is cut into cells. Those that no face touches fall into regions of one winding number each; a row of touched cells
between two of them, along an axis, is in one layer when the numbers differ by one and all its faces look one way along
the axis. That clears all but the faces at edges, in a fifth of the time in which all of them are tried for crossings.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from verifier.mesh import (
    Array,
    BoolArray,
    IntArray,
    Mesh,
    corners_along_axes,
    drop_unused_vertices,
    extents_mm,
    stretches_of,
)

# A cell is so many times as long as the faces' boxes are on average: larger, and more of the surface shares a cell with
# an edge; smaller, and a face touches more of them.
FACES_A_CELL = 2.0
# Cells at most: they take less memory than the boxes of a million faces tried for crossings.
CELLS = 8_000_000
# A surface whose faces touch more cells each than this is none of even faces: all of them are tried.
CELLS_A_FACE = 12
# A face longer than so many cells is entered by itself.
LONG = 4
# So many of the largest regions are asked for their winding number; what borders on others is not cleared.
REGIONS = 8
UNKNOWN = 1 << 20
# Where in a cell a line is drawn: seldom along a corner or a side of a face.
OFF_MIDDLE = np.array([0.4142, 0.5772, 0.5])
# Far above rounding, as a share of what a product of sides is made of.
ROUNDING = 1e-12

Numbers = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class _Grid:
    """Cells over the part, one empty layer of them around it; numbered with the last axis running fastest."""

    low_mm: Array
    cell_mm: float
    shape: tuple[int, int, int]

    @property
    def step(self) -> tuple[int, int, int]:
        """How far on the number of the next cell along each axis is."""
        return self.shape[1] * self.shape[2], self.shape[2], 1

    @property
    def count(self) -> int:
        return self.shape[0] * self.shape[1] * self.shape[2]

    def along(self, axis: int, places_mm: Array) -> Numbers:
        """In which layer of cells along an axis each place is; a place further up is never in a lower one."""
        return np.asarray((places_mm - self.low_mm[axis]) / self.cell_mm, dtype=np.int32) + np.int32(1)


@dataclass(frozen=True, slots=True)
class _Touched:
    """Which faces touch which cells: one entry for each cell in the box of each face."""

    face: Numbers
    cell: Numbers


def may_cross(mesh: Mesh) -> BoolArray:
    """Faces that may run through another one, (m,); the others do not.

    mesh : closed, every edge with two faces that agree
    """
    mesh = drop_unused_vertices(mesh)  # what debris left behind would make the grid coarse
    grid = _grid(mesh)
    touched = _touched(mesh, grid)
    if touched is None:
        return np.ones(len(mesh.faces), dtype=bool)
    doubtful = _doubtful_cells(mesh, grid, touched)
    found = np.zeros(len(mesh.faces), dtype=bool)
    found[touched.face[doubtful[touched.cell]]] = True
    return found


def _grid(mesh: Mesh) -> _Grid:
    some = mesh.vertices_mm[mesh.faces[:: 1 + len(mesh.faces) // 10_000]]
    low, size_mm = np.array([axis.min() for axis in mesh.vertices_mm.T]), extents_mm(mesh)
    fine_mm = FACES_A_CELL * float(np.ptp(some, axis=1).mean())
    # A flat part holds no volume: its cells are bounded by its longest side.
    cell_mm = max(fine_mm, float(np.cbrt(size_mm.prod() / CELLS)), float(size_mm.max()) / 1000.0)
    x, y, z = ((size_mm / cell_mm).astype(int) + 3).tolist()
    return _Grid(low, cell_mm, (x, y, z))


def _touched(mesh: Mesh, grid: _Grid) -> _Touched | None:
    """The cells in every face's box; None where those are too many."""
    first, last = np.empty((2, 3, len(mesh.faces)), dtype=np.int32)
    for axis in range(3):
        layer = grid.along(axis, mesh.vertices_mm[:, axis])
        a, b, c = (np.take(layer, mesh.faces[:, k]) for k in range(3))
        first[axis], last[axis] = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    more = last - first
    if float(((more[0] + 1.0) * (more[1] + 1) * (more[2] + 1)).sum()) > CELLS_A_FACE * len(mesh.faces):
        return None
    at = first[0] * grid.step[0] + first[1] * grid.step[1] + first[2]
    is_long = (more[0] > LONG) | (more[1] > LONG) | (more[2] > LONG)
    entries = [_boxes(np.flatnonzero(is_long).astype(np.int32), at, more, grid)]
    for x in range(LONG + 1):
        along_x = np.flatnonzero(~is_long & (more[0] >= x)).astype(np.int32)
        for y in range(LONG + 1):
            along_y = along_x[more[1, along_x] >= y]
            for z in range(LONG + 1):
                here = along_y[more[2, along_y] >= z]
                entries.append((here, at[here] + np.int32(x * grid.step[0] + y * grid.step[1] + z)))
    return _Touched(*(np.concatenate(parts) for parts in zip(*entries, strict=True)))


def _boxes(faces: Numbers, at: Numbers, more: Numbers, grid: _Grid) -> tuple[Numbers, Numbers]:
    """All entries of some faces: each in the cells of its box, `more` than one along every axis, from cell `at` on."""
    cells = at[faces]
    for axis, step in enumerate(grid.step):
        times = more[axis, faces] + np.int32(1)
        first = np.repeat(np.cumsum(times, dtype=np.int32) - times, times)
        ahead = np.arange(len(first), dtype=np.int32) - first
        faces, cells = np.repeat(faces, times), np.repeat(cells, times) + ahead * np.int32(step)
    return faces, cells


def _doubtful_cells(mesh: Mesh, grid: _Grid, touched: _Touched) -> BoolArray:
    """Touched cells that are in one layer along no axis, of all cells."""
    doubtful = np.zeros(grid.count, dtype=bool)
    doubtful[touched.cell] = True
    cells = np.flatnonzero(doubtful)
    region, winds = _regions(mesh, grid, touched, ~doubtful)
    for axis, looks in enumerate(_looks(mesh)):
        sense = looks[touched.face]
        up, down = np.zeros((2, grid.count), dtype=bool)
        up[touched.cell[sense >= 0]] = True
        down[touched.cell[sense <= 0]] = True
        rows, first, last = _rows(cells, grid, axis)
        has_up, has_down = (np.logical_or.reduceat(each[rows], first) for each in (up, down))
        before, after = (winds[region[rows[k] + by]] for k, by in ((first, -grid.step[axis]), (last, grid.step[axis])))
        met = np.where(has_up, before - after, after - before)  # by a line on its way out, or in
        is_single = (has_up != has_down) & (met == 1) & (before != UNKNOWN) & (after != UNKNOWN)
        doubtful[rows[np.repeat(is_single, last - first + 1)]] = False
    return doubtful


def _looks(mesh: Mesh) -> NDArray[np.int8]:
    """Whether each face looks up each axis (1), down (-1) or, as far as rounding lets that be told, across, (3, m)."""
    looks = np.empty((3, len(mesh.faces)), dtype=np.int8)
    for some in stretches_of(mesh.faces):
        a, b, c = corners_along_axes(mesh, some)
        one, other = b - a, c - a
        for axis in range(3):
            i, j = (axis + 1) % 3, (axis + 2) % 3
            left, right = one[i] * other[j], one[j] * other[i]
            limit = ROUNDING * (np.abs(left) + np.abs(right))
            looks[axis, some] = (left > right + limit).astype(np.int8) - (left < right - limit).astype(np.int8)
    return looks


def _rows(cells: IntArray, grid: _Grid, axis: int) -> tuple[IntArray, IntArray, IntArray]:
    """The cells sorted along an axis, and where in that order each unbroken row of them begins and ends."""
    order = [k for k in range(3) if k != axis] + [axis]
    shape = [grid.shape[k] for k in order]
    at = np.unravel_index(cells, grid.shape)
    number = np.sort(np.ravel_multi_index([at[k] for k in order], shape))
    gap = np.flatnonzero(np.diff(number) != 1)
    found = np.unravel_index(number, shape)
    rows = np.ravel_multi_index([found[order.index(k)] for k in range(3)], grid.shape)
    return rows, np.r_[0, gap + 1], np.r_[gap, len(rows) - 1]


def _regions(mesh: Mesh, grid: _Grid, touched: _Touched, free: BoolArray) -> tuple[Numbers, IntArray]:
    """The region of every free cell, and how often the surface winds around each region, where that was asked."""
    region, count = ndimage.label(free.reshape(grid.shape))
    region = region.ravel()
    winds = np.full(count + 1, UNKNOWN)
    size = np.bincount(region, minlength=count + 1)
    size[0] = 0  # the touched ones
    for k in np.argsort(-size)[:REGIONS].tolist():
        cells = np.flatnonzero(region == k) if size[k] else ()
        if len(cells):
            winds[k] = _winding(mesh, grid, touched, int(cells[len(cells) // 2]))
    winds[region[0]] = 0  # around the part
    return region, winds


def _winding(mesh: Mesh, grid: _Grid, touched: _Touched, cell: int) -> int:
    """How often the surface winds around a free cell: its faces above that look up, less those that look down.

    UNKNOWN where the line up from the cell grazes a face.
    """
    x, y, z = np.unravel_index(cell, grid.shape)
    foot = cell - cell % grid.shape[2]
    column = np.unique(touched.face[(touched.cell >= foot) & (touched.cell < foot + grid.shape[2])])
    at = grid.low_mm + (np.array([x, y, z]) - 1 + OFF_MIDDLE) * grid.cell_mm
    spokes = mesh.vertices_mm[mesh.faces[column]] - at
    ahead = np.roll(spokes, -1, axis=1)
    left, right = spokes[..., 0] * ahead[..., 1], spokes[..., 1] * ahead[..., 0]
    turns = np.where(np.abs(left - right) > ROUNDING * (np.abs(left) + np.abs(right)), np.sign(left - right), 0.0)
    met = np.abs(turns.sum(axis=1)) == 3
    if (np.abs(turns).min(axis=1) == 0).any():
        return UNKNOWN
    share = np.roll(left - right, -1, axis=1)[met]  # of the corner opposite each side
    heights = (share * spokes[met, :, 2]).sum(axis=1) / share.sum(axis=1)
    return int(turns[met, 0][heights > 0].sum())
