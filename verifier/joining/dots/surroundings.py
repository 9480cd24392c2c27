"""The smooth surface around places of a scan, and how far the corners there lie above it."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.mesh import Array, BoolArray, IntArray

# So far about a place the surface is looked at, and so far up and down.
REACH_MM, LAYER_MM = 7.0, 3.0
# Of one surface is what faces within 60 degrees of its middle.
SAME_LAYER = 0.5
SECTORS = 8
LEAST_AROUND = 12
# Places spread wider than this many cells are sought among all corners.
MOST_CELLS = 3e7


@dataclass(frozen=True, slots=True)
class Near:
    """Corners about some places, all in one list.

    place : (k,) which place each is near, rising; corner : (k,) its number
    """

    place: IntArray
    corner: IntArray

    def of(self, places: IntArray) -> "Near":
        """About some of the places, numbered anew."""
        number = np.full(int(max(self.place.max(initial=-1), places.max(initial=-1))) + 1, -1)
        number[places] = np.arange(len(places))
        own = number[self.place]
        return Near(own[own >= 0], self.corner[own >= 0])


@dataclass(frozen=True, slots=True)
class Around:
    """Corners about some places, each as seen over its own place.

    place : (k,) which place; u_mm, v_mm : (k,) along the surface from its middle; rise_mm : (k,) above what is smooth
    count : how many places there are
    scatter_mm : (count,) of the corners of the ring the smooth surface was laid through
    sectors : (count,) eighths of that ring that hold corners
    at_mm, facing : (count, 3) the middles on the smooth surface, and the way it faces
    form : (count, 6) heights of the smooth surface over the places asked about, as factors of `bends`
    asked_mm : (count, 3) those places
    """

    place: IntArray
    u_mm: Array
    v_mm: Array
    rise_mm: Array
    count: int
    scatter_mm: Array
    sectors: IntArray
    at_mm: Array
    facing: Array
    form: Array
    asked_mm: Array

    @property
    def away_mm(self) -> Array:
        """Along the surface, (k,)."""
        return np.hypot(self.u_mm, self.v_mm)

    def total(self, values: Array | BoolArray) -> Array:
        """Sum of a figure of the corners for every place, (count,)."""
        return np.bincount(self.place, values, self.count).astype(np.float64)

    def rise_of(self, points_mm: Array, place: IntArray) -> Array:
        """How far any points lie above the smooth surface about the places they belong to, (n,)."""
        off, (across, aside) = points_mm - self.asked_mm[place], _axes(self.facing)
        u, v, w = (np.einsum("kx,kx->k", off, each[place]) for each in (across, aside, self.facing))
        return np.asarray(w - np.einsum("kx,kx->k", bends(u, v), self.form[place]))

    def share(self, what: BoolArray, among: BoolArray) -> Array:
        """Of some of the corners of every place those of which something holds; 0 where there are none."""
        return self.total(what & among) / np.maximum(self.total(among), 1.0)

    def middle(self, values: Array, among: BoolArray) -> Array:
        """Median of a figure over some of the corners of every place; nought where there are none."""
        place, some = self.place[among], values[among]
        order = np.lexsort((some, place))
        count = np.bincount(place, minlength=self.count)
        first = np.r_[0, np.cumsum(count)[:-1]]
        at = np.minimum(first + count // 2, max(len(order) - 1, 0))
        return np.where(count > 0, some[order][at], 0.0) if len(order) else np.zeros(self.count)


def corners_near(points_mm: Array, places_mm: Array) -> Near:
    """The corners within reach of places, (n, 3)."""
    some = _in_cells_of(points_mm, places_mm)
    lists = cKDTree(points_mm[some], balanced_tree=False, compact_nodes=False).query_ball_point(places_mm, REACH_MM)
    count = np.fromiter(map(len, lists), dtype=np.int64, count=len(lists))
    flat = np.concatenate([np.asarray(each, dtype=np.int64) for each in lists]) if len(lists) else np.empty(0, np.int64)
    return Near(np.repeat(np.arange(len(lists)), count), some[flat])


def _in_cells_of(points_mm: Array, places_mm: Array) -> IntArray:
    """Numbers of the corners in the cells of places and beside them."""
    low = places_mm.min(axis=0) - REACH_MM
    cells = np.floor((places_mm - low) / REACH_MM).astype(np.int64)
    size = cells.max(axis=0) + 2
    if float(np.prod(size.astype(np.float64))) > MOST_CELLS:
        return np.arange(len(points_mm))
    wanted = np.zeros(tuple(size), dtype=bool)
    for step in np.ndindex(3, 3, 3):
        beside = cells + np.array(step) - 1
        inside = ((beside >= 0) & (beside < size)).all(axis=1)
        wanted[tuple(beside[inside].T)] = True
    mine = np.empty((3, len(points_mm)), dtype=np.int64)
    good = np.ones(len(points_mm), dtype=bool)
    for axis in range(3):
        mine[axis] = np.floor((points_mm[:, axis] - low[axis]) / REACH_MM)
        good &= (mine[axis] >= 0) & (mine[axis] < size[axis])
    some = np.flatnonzero(good)
    return np.asarray(some[wanted[tuple(mine[:, some])]])


def around(points_mm: Array, normals: Array, near: Near, middles_mm: Array, along: Array, ring_mm: Array) -> Around:
    """Lay a smooth surface, of second degree, through the ring about every place.

    middles_mm, along : (n, 3) the places, and roughly the way the surface faces there
    ring_mm : (n, 2) the nearest and the farthest of the ring
    """
    count = len(middles_mm)
    facing = _facing(normals[near.corner], near.place, along, count)
    across, aside = _axes(facing)
    off = points_mm[near.corner] - middles_mm[near.place]
    u, v, w = (np.einsum("kx,kx->k", off, each[near.place]) for each in (across, aside, facing))
    layer = (np.abs(w) < LAYER_MM) & (np.einsum("kx,kx->k", normals[near.corner], facing[near.place]) > SAME_LAYER)
    place, u, v, w = near.place[layer], u[layer], v[layer], w[layer]
    away = np.hypot(u, v)
    in_ring = (away > ring_mm[place, 0]) & (away < ring_mm[place, 1])
    bend = bends(u, v)
    ring, of = bend[in_ring], place[in_ring]
    square = np.stack([np.bincount(of, a * b, count) for a in ring.T for b in ring.T], axis=1).reshape(count, 6, 6)
    right = np.stack([np.bincount(of, a * w[in_ring], count) for a in ring.T], axis=1)
    form: Array = np.linalg.solve(square + 1e-6 * np.eye(6), right[:, :, None])[:, :, 0].astype(np.float64)
    rise = w - np.einsum("kx,kx->k", bend, form[place])
    many = np.bincount(of, minlength=count)
    scatter = np.sqrt(np.bincount(of, rise[in_ring] ** 2, count) / np.maximum(many - 6, 1))
    scatter[many < LEAST_AROUND] = np.inf
    sector = np.floor((np.arctan2(v, u)[in_ring] / (2 * np.pi) % 1.0) * SECTORS).astype(np.int64) % SECTORS
    held = np.bincount(of * SECTORS + sector, minlength=count * SECTORS).reshape(count, SECTORS) > 0
    at = middles_mm + form[:, :1] * facing
    return Around(place, u, v, rise, count, scatter, held.sum(axis=1), at, facing, form, middles_mm)


def moved_along(found: Around, u_mm: Array, v_mm: Array) -> Array:
    """The places' middles moved along their surfaces, (count, 3)."""
    across, aside = _axes(found.facing)
    return np.asarray(found.at_mm + u_mm[:, None] * across + v_mm[:, None] * aside)


def _axes(facing: Array) -> tuple[Array, Array]:
    """Two ways along the surface, at right angles, for every way it faces."""
    across = np.cross(facing, np.eye(3)[np.abs(facing).argmin(axis=1)])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    return across, np.cross(facing, across)


def bends(u: Array, v: Array) -> Array:
    """What heights over places u, v of a smooth surface are made of, to the second order, (n, 6)."""
    return np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])


def _facing(normals: Array, place: IntArray, along: Array, count: int) -> Array:
    """Mean way of the corners about every place that face roughly along."""
    same = np.einsum("kx,kx->k", normals, along[place]) > SAME_LAYER / 2.0
    total = np.stack([np.bincount(place[same], normals[same, k], count) for k in range(3)], axis=1) + 1e-9 * along
    return np.asarray(total / np.linalg.norm(total, axis=1, keepdims=True))
