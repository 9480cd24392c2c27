"""Faces near some others, by the boxes around them: those that may touch them, without asking any pair."""

from itertools import product

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import BoolArray, IntArray, Mesh, corners_along_axes, stretches_of


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
    around = own.reshape(-1, 3) if closely else mesh.vertices_mm
    low, high = (np.array([at(axis) for axis in around.T]) for at in (np.min, np.max))
    cell_mm = max(4.0 * float(np.ptp(some, axis=1).mean()), float((high - low).max()) / 200.0)
    # Around the fresh faces lies one layer of cells that their boxes may come near, and one that stands for all beyond.
    marked = np.zeros(((high - low) / cell_mm).astype(int) + 5, dtype=bool)
    first, last = (((ends - low) / cell_mm).astype(int) + 2 for ends in (own.min(axis=1), own.max(axis=1)))
    for a, b in zip(first, last, strict=True):
        marked[a[0] - 1 : b[0] + 2, a[1] - 1 : b[1] + 2, a[2] - 1 : b[2] + 2] = True
    cells = np.empty((3, len(mesh.vertices_mm)), dtype=np.int32)
    for axis, along in enumerate(mesh.vertices_mm.T):
        cells[axis] = np.clip((along - low[axis]) / cell_mm + 2.0, 0, marked.shape[axis] - 1)
    near = marked[cells[0], cells[1], cells[2]][mesh.faces[:, 0]]
    long = _longer_than(mesh, cell_mm)
    near[long] = _hold_a_mark(marked, cells[:, mesh.faces[long]]) if closely else True
    return np.asarray(near)


def _longer_than(mesh: Mesh, limit_mm: float) -> IntArray:
    """Numbers of the faces whose box is longer than that along any axis."""
    found = np.empty(len(mesh.faces), dtype=bool)
    for stretch in stretches_of(mesh.faces):
        a, b, c = corners_along_axes(mesh, stretch)
        spans = np.maximum(np.maximum(a, b), c) - np.minimum(np.minimum(a, b), c)
        found[stretch] = (spans > limit_mm).any(axis=0)
    return np.flatnonzero(found)


def _hold_a_mark(marked: BoolArray, corners: NDArray[np.int32]) -> BoolArray:
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
