"""The surface between material and air on a grid, its corners laid exactly on the forms and their edges.

Dual contouring (Ju, Losasso, Schaefer, Warren 2002): in every cube that the surface passes one corner, where the planes
through its crossings with the cube's edges meet best.
"""

from collections.abc import Sequence

import numpy as np

from verifier.mending.cells import Filling
from verifier.mending.forms import Form
from verifier.mending.grid import Grid
from verifier.mesh import Array, IntArray, Mesh

# How much a corner is drawn to the middle of its crossings beside being drawn to their planes: on a flat that is all
# there is to say where it lies, at an edge it moves it by a hundredth of a cube.
TO_THE_MIDDLE = 0.01


def contour(grid: Grid, forms: Sequence[Form], filling: Filling) -> Mesh:
    """The surface, looking out of the material; open where it leaves the grid."""
    one, other, axis = _edges_through(grid, filling)
    at_mm, looking = _crossings(grid, forms, filling, one, other)
    cubes = _cubes_around(grid, one, axis)
    known, corner = np.unique(cubes, return_inverse=True)
    corner = corner.reshape(cubes.shape)
    kept = known >= 0
    places = _places(grid, known, corner, at_mm, looking)
    turned = np.where(filling.inside[one][:, None], corner, corner[:, ::-1])
    quads = turned[kept[corner].all(axis=1)]
    return Mesh(places, _halved(places, quads))


def _edges_through(grid: Grid, filling: Filling) -> tuple[IntArray, IntArray, IntArray]:
    """Grid edges with one end inside: lower end, upper end, axis, (q,) each."""
    strides = (grid.counts[1] * grid.counts[2], grid.counts[2], 1)
    inside = filling.inside.reshape(grid.counts)
    found = []
    for axis, stride in enumerate(strides):
        low = np.flatnonzero(np.diff(inside, axis=axis, append=np.take(inside, [-1], axis)).ravel())
        found.append(np.column_stack([low, low + stride, np.full(len(low), axis)]))
    one, other, axes = np.concatenate(found).T
    return one, other, axes


def _crossings(
    grid: Grid, forms: Sequence[Form], filling: Filling, one: IntArray, other: IntArray
) -> tuple[Array, Array]:
    """Where each edge meets the form that parts its ends, and which way that looks, (q, 3) each.

    Where several forms part them, the one that the label changes at, going along.
    """
    places = grid.points_mm
    first, last = places[one], places[other]
    label = dict(zip(filling.code.tolist(), filling.inside.tolist(), strict=True))
    off = np.stack([form.off_mm(first) for form in forms], axis=1)
    off_last = np.stack([form.off_mm(last) for form in forms], axis=1)
    parted = (off > 0.0) != (off_last > 0.0)
    share = np.where(parted, off / np.where(parted, off - off_last, 1.0), np.inf)
    chosen = share.argmin(axis=1)
    for row in np.flatnonzero(parted.sum(axis=1) > 1).tolist():
        code, begun = int(filling.code[one[row]]), bool(filling.inside[one[row]])
        for k in np.argsort(share[row])[: int(parted[row].sum())].tolist():
            code ^= 1 << k
            if label.get(code, begun) != begun:
                chosen[row] = k
                break
    along = np.take_along_axis(share, chosen[:, None], axis=1)
    at_mm = first + along * (last - first)
    looking = np.zeros_like(at_mm)
    for k, form in enumerate(forms):
        looking[chosen == k] = form.looking(at_mm[chosen == k])
    return at_mm, looking


def _cubes_around(grid: Grid, one: IntArray, axis: IntArray) -> IntArray:
    """The four cubes around each edge, anticlockwise about the axis, by their lowest point, (q, 4); -1 outside."""
    place = np.stack(np.unravel_index(one, grid.counts), axis=1)
    across, beyond = (axis + 1) % 3, (axis + 2) % 3
    row = np.arange(len(one))
    cubes = []
    for a, b in ((0, 0), (-1, 0), (-1, -1), (0, -1)):
        there = place.copy()
        there[row, across] += a
        there[row, beyond] += b
        outside = ((there < 0) | (there > np.array(grid.counts) - 2)).any(axis=1)
        number = np.ravel_multi_index(tuple(there.T), grid.counts, mode="clip")
        cubes.append(np.where(outside, -1, number))
    return np.column_stack(cubes)


def _places(grid: Grid, cubes: IntArray, corner: IntArray, at_mm: Array, looking: Array) -> Array:
    """The corner of every cube, kept within it, (c, 3)."""
    count = len(cubes)
    total = np.zeros((count, 3))
    matrix, right = np.zeros((count, 3, 3)), np.zeros((count, 3))
    number = np.bincount(corner.ravel(), minlength=count).astype(np.float64)
    for k in range(4):
        np.add.at(total, corner[:, k], at_mm)
    middle = total / number[:, None]
    for k in range(4):
        mine = corner[:, k]
        height = np.einsum("qx,qx->q", looking, at_mm - middle[mine])
        np.add.at(matrix, mine, looking[:, :, None] * looking[:, None])
        np.add.at(right, mine, looking * height[:, None])
    matrix += TO_THE_MIDDLE * number[:, None, None] * np.eye(3)
    places = middle + np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    low = grid.low_mm + grid.step_mm * np.stack(np.unravel_index(np.maximum(cubes, 0), grid.counts), axis=1)
    return np.clip(places, low, low + grid.step_mm)


def _halved(places: Array, quads: IntArray) -> IntArray:
    """Two triangles for every four corners, cut along the shorter way across."""
    a, b, c, d = (places[quads[:, k]] for k in range(4))
    short = np.linalg.norm(a - c, axis=1) <= np.linalg.norm(b - d, axis=1)
    first = np.where(short[:, None], quads[:, [0, 1, 2]], quads[:, [0, 1, 3]])
    second = np.where(short[:, None], quads[:, [0, 2, 3]], quads[:, [1, 2, 3]])
    return np.concatenate([first, second])
