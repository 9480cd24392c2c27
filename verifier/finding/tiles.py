"""Places in a plane sorted into square tiles, so that those near a circle are found without asking all of them."""

from dataclasses import dataclass

import numpy as np

from verifier.mesh import Array, IntArray

# A patch of a million points gives up a few thousand to each circle: few tiles are looked up, and few points in each.
# Numbers of tiles fit 16 bits.
POINTS_A_TILE, MOST_TILES_ALONG = 200, 250


@dataclass(frozen=True, slots=True)
class Tiles:
    """Square tiles over places.

    middles_mm : (t, 2) of the tiles; side_mm : of each
    order : (k,) numbers of the places, tile after tile; starts : (t + 1,) where each tile's begin
    """

    middles_mm: Array
    side_mm: float
    order: IntArray
    starts: IntArray

    def near_circle(self, centre: Array, radius_mm: float, reach_mm: float) -> IntArray:
        """Numbers of all places within reach of a circle, and of some beside them, in rising order."""
        off = np.abs(np.linalg.norm(self.middles_mm - centre, axis=1) - radius_mm)
        crossed = np.flatnonzero(off <= reach_mm + 0.75 * self.side_mm)  # half a diagonal is 0.71 of a side
        first, count = self.starts[crossed], self.starts[crossed + 1] - self.starts[crossed]
        before = np.cumsum(count) - count
        return np.sort(self.order[np.repeat(first - before, count) + np.arange(int(count.sum()))])


def tiles_over(flat_mm: Array) -> Tiles:
    """Sort places into tiles. flat_mm : (k, 2)"""
    low = flat_mm.min(axis=0)
    wide = flat_mm.max(axis=0) - low
    side = max(float(np.sqrt(wide.prod() * POINTS_A_TILE / len(flat_mm))), float(wide.max()) / MOST_TILES_ALONG, 1e-6)
    along, across = ((flat_mm[:, k] - low[k]) / side for k in (0, 1))
    shape = (wide / side).astype(np.int64) + 1
    tile = along.astype(np.uint16) * np.uint16(shape[1]) + across.astype(np.uint16)
    order = np.argsort(tile, kind="stable")  # numbers of 16 bits are sorted by counting
    starts = np.searchsorted(tile[order], np.arange(int(shape.prod()) + 1))
    middles = (np.indices(tuple(shape)).reshape(2, -1).T + 0.5) * side + low
    return Tiles(middles, side, order, starts)
