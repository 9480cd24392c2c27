"""A surface out of a distance function: one corner in every cell of a grid that it crosses."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from inbox_demo.simulated.distances import Array, Distance, Faces


def grid_values(distance: Distance, low: Array, counts: Array, step_mm: float) -> NDArray[np.float32]:
    """Distances on a grid, worked out only in blocks that the surface may cross."""
    block = 8
    blocks = -(-counts // block)
    values = np.empty(tuple(blocks * block), dtype=np.float32)
    corner = np.stack(np.meshgrid(*(np.arange(b) for b in blocks), indexing="ij"), axis=-1).reshape(-1, 3) * block
    middle = distance(low + (corner + (block - 1) / 2.0) * step_mm)
    reach = step_mm * (block + 1) * np.sqrt(3.0) / 2.0
    offsets = np.stack(np.meshgrid(*(np.arange(block),) * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    view = values.reshape(blocks[0], block, blocks[1], block, blocks[2], block).transpose(0, 2, 4, 1, 3, 5)
    far = np.abs(middle) > 1.6 * reach  # rounded unions are a little steeper than one
    flat = corner // block
    view[flat[far, 0], flat[far, 1], flat[far, 2]] = middle[far, None, None, None]
    for part in np.array_split(np.flatnonzero(~far), max(1, int((~far).sum()) // 1000)):
        points = low + (corner[part][:, None, :] + offsets[None]) * step_mm
        found = distance(points.reshape(-1, 3)).reshape(len(part), block, block, block)
        view[flat[part, 0], flat[part, 1], flat[part, 2]] = found
    return values


def without_pinches(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Lifts grid points out of the solid where two of a square's diagonal corners alone lie inside.

    There a net would share one edge between four faces. The corners are moved onto the true surface afterwards.
    """
    for _ in range(12):
        inside = values < 0
        pinched = 0
        for axis in range(3):
            u, v = (a for a in range(3) if a != axis)
            at = {}
            for i, j in ((0, 0), (1, 0), (1, 1), (0, 1)):
                window = [slice(None)] * 3
                window[u], window[v] = slice(i, values.shape[u] - 1 + i), slice(j, values.shape[v] - 1 + j)
                at[i, j] = inside[tuple(window)]
            odd = (at[0, 0] == at[1, 1]) & (at[1, 0] == at[0, 1]) & (at[0, 0] != at[1, 0])
            for place in np.argwhere(odd):
                corners = [place + i * np.eye(3, dtype=int)[u] + j * np.eye(3, dtype=int)[v] for i, j in at]
                within = [tuple(c) for c in corners if inside[tuple(c)]]
                values[max(within, key=lambda c: values[c])] = 1e-6
            pinched += int(odd.sum())
        if pinched == 0:
            break
    return values


def surface_net(values: NDArray[np.float32], low: Array, step_mm: float) -> tuple[Array, Faces]:
    """One corner in every cell the surface crosses, one quad across every edge it crosses, cut in two."""
    inside = values < 0
    n = np.array(values.shape) - 1
    corner_offsets = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)])
    filled = np.zeros(tuple(n), dtype=np.uint8)
    for i, j, k in corner_offsets:
        filled += inside[i : i + n[0], j : j + n[1], k : k + n[2]]
    cells = np.argwhere((filled > 0) & (filled < 8))
    number = np.full(tuple(n), -1, dtype=np.int32)
    number[tuple(cells.T)] = np.arange(len(cells))
    at = [values[tuple((cells + o).T)].astype(float) for o in corner_offsets]
    total, hits = np.zeros((len(cells), 3)), np.zeros(len(cells))
    for a in range(8):
        for axis in range(3):
            if corner_offsets[a][axis]:
                continue
            b = a + (4, 2, 1)[axis]
            crosses = (at[a] < 0) != (at[b] < 0)
            share = np.divide(at[a], at[a] - at[b], out=np.zeros_like(at[a]), where=crosses)
            point = np.tile(corner_offsets[a].astype(float), (len(cells), 1))
            point[:, axis] += share
            total[crosses] += point[crosses]
            hits += crosses
    vertices = low + (cells + total / hits[:, None]) * step_mm
    quads = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        here = [slice(1, n[0]), slice(1, n[1]), slice(1, n[2])]
        here[axis] = slice(0, n[axis])
        there = list(here)
        there[axis] = slice(1, n[axis] + 1)
        first, second = inside[tuple(here)], inside[tuple(there)]
        base = np.argwhere(first != second) + np.array([0 if a == axis else 1 for a in range(3)])
        outwards = inside[tuple(base.T)]
        eu, ev = np.eye(3, dtype=int)[u], np.eye(3, dtype=int)[v]
        ring = np.stack([number[tuple((base - o).T)] for o in (eu + ev, ev, 0 * eu, eu)], axis=1)
        ring[~outwards] = ring[~outwards][:, ::-1]
        quads.append(ring)
    ring = np.concatenate(quads)
    first_way = np.sum((vertices[ring[:, 0]] - vertices[ring[:, 2]]) ** 2, axis=1)
    second_way = np.sum((vertices[ring[:, 1]] - vertices[ring[:, 3]]) ** 2, axis=1)
    ring[second_way < first_way] = np.roll(ring[second_way < first_way], 1, axis=1)
    return vertices, np.concatenate([ring[:, [0, 1, 2]], ring[:, [0, 2, 3]]]).astype(np.int64)
