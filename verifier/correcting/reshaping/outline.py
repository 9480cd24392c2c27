"""A flat figure by its border: what lies inside, and how far from the border."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.mesh import Array, BoolArray

LAID_EVERY_MM = 0.1
# Places are tried on a grid this fine, or coarser where the figure is large.
TRIED_EVERY_MM = 0.5
TRIED_MOST = 4_000
# So many places are asked for at a time, that their table with the border's edges stays small.
ASKED_AT_ONCE = 512


@dataclass(frozen=True, slots=True)
class Outline:
    """Edges that close, in any order.

    start, end : (n, 2)
    tree : of points close along all of them
    """

    start: Array
    end: Array
    tree: cKDTree

    def inside(self, points: Array) -> BoolArray:
        """Which points lie inside, (n,): a ray from each crosses the border an odd number of times."""
        (x0, y0), (x1, y1) = self.start.T, self.end.T
        odd = np.zeros(len(points), dtype=bool)
        for part in range(0, len(points), ASKED_AT_ONCE):
            x, y = points[part : part + ASKED_AT_ONCE, :1], points[part : part + ASKED_AT_ONCE, 1:]
            spans = (y0 > y) != (y1 > y)
            with np.errstate(divide="ignore", invalid="ignore"):  # level edges span nothing
                at = x0 + (y - y0) * (x1 - x0) / (y1 - y0)
            odd[part : part + ASKED_AT_ONCE] = (spans & (at > x)).sum(axis=1) % 2 == 1
        return odd

    def depth_mm(self, points: Array) -> Array:
        """How far inside the border points lie; below nought outside, (n,)."""
        away = self.tree.query(points)[0]
        return np.asarray(np.where(self.inside(points), away, -away))

    def places(self) -> Array:
        """A grid of places inside, (n, 2)."""
        low, high = self.start.min(axis=0), self.start.max(axis=0)
        step = max(TRIED_EVERY_MM, float(np.sqrt(np.prod(high - low) / TRIED_MOST)))
        axes = [np.arange(lo + step / 2.0, hi, step) for lo, hi in zip(low, high, strict=True)]
        grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
        return np.asarray(grid[self.inside(grid)])


def outline_of(start: Array, end: Array) -> Outline:
    """Edges as an outline."""
    return Outline(start, end, cKDTree(laid_along(start, end)))


def laid_along(start: Array, end: Array) -> Array:
    """Points close along edges, both ends among them, (k, 2)."""
    count = np.ceil(np.linalg.norm(end - start, axis=1) / LAID_EVERY_MM).astype(np.int64) + 1
    edge = np.repeat(np.arange(len(start)), count)
    place = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    return np.asarray(start[edge] + (place / count[edge])[:, None] * (end - start)[edge])
