"""Two rims along their length, window after window: the places of both sides where the surface comes round."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.laid_together import moved
from verifier.joining.profile import EVERY_SHARE, LEAST_POINTS, SLOPE, WINDOW_SHARE
from verifier.joining.rows import turned_by
from verifier.joining.side import Side
from verifier.mesh import Array, BoolArray, IntArray

# Sine of the slope up to which places are gathered (49 degrees), before a window knows which way its own rim leans.
WIDE = 0.75
FRAMES = 3
# So many places of a side tell how high a window's rim lies to 0.04 mm (simulated scans), well within what
# its neighbours misjudge alike (VERTEX_MM): more make no rim surer.
MOST_POINTS = 150
# Sine of the angle between the mean ways of the two sides of a window, at least: their cross runs along the rim.
LEAST_BETWEEN = 0.1


@dataclass(frozen=True, slots=True)
class Windows:
    """Places of both sides, window after window, each in the frame of its own window.

    starts : (w,) number of each window's first place
    middle_mm, up : (w, 3) middle of each window, and the way across the rim from the second side to the first
    inward_mm, along_mm, height_mm : (k,) places about their window's middle
    outward, upward : (k,) parts of the surface's normal there
    second : (k,) those of the second side
    """

    starts: IntArray
    middle_mm: Array
    up: Array
    inward_mm: Array
    along_mm: Array
    height_mm: Array
    outward: Array
    upward: Array
    second: BoolArray

    @property
    def of(self) -> IntArray:
        """The window of each place, (k,)."""
        return np.repeat(np.arange(len(self.starts)), self.counts)

    @property
    def counts(self) -> IntArray:
        """How many places each window has, (w,)."""
        return np.asarray(np.diff(np.r_[self.starts, len(self.second)]), dtype=np.int64)

    @property
    def apart_mm(self) -> Array:
        """How much higher the first side's places lie than the second's in the middle of each, (w,)."""
        second = self.second.astype(np.float64)
        both = np.add.reduceat(second, self.starts)
        lower = np.add.reduceat(self.height_mm * second, self.starts) / both
        return np.asarray(np.add.reduceat(self.height_mm * (1.0 - second), self.starts) / (self.counts - both) - lower)

    @property
    def shown_mm(self) -> Array:
        """How much of the rim's height the side shows that shows less of it, (w,)."""
        return np.asarray(np.minimum(self._height_of(self.second), self._height_of(~self.second)))

    def _height_of(self, which: BoolArray) -> Array:
        top = np.maximum.reduceat(np.where(which, self.height_mm, -np.inf), self.starts)
        return np.asarray(top - np.minimum.reduceat(np.where(which, self.height_mm, np.inf), self.starts))


@dataclass(frozen=True, slots=True)
class _Places:
    """Places of both sides and the ways the surface faces there, (k, 3) each, window after window.

    of : (k,) their window; second : (k,) those of the second side
    """

    at_mm: Array
    facing: Array
    of: IntArray
    second: BoolArray

    @property
    def starts(self) -> IntArray:
        return np.flatnonzero(np.r_[True, np.diff(self.of) > 0])

    def counts(self, which: BoolArray) -> Array:
        """How many there are of each window, (w,)."""
        return np.bincount(self.of[which], minlength=len(self.starts)).astype(np.float64)

    def means(self, vectors: Array, which: BoolArray) -> Array:
        """Mean of each window, nought where it has none, (w, 3)."""
        total = np.add.reduceat(vectors * which[:, None], self.starts)
        return np.asarray(total / np.maximum(self.counts(which), 1.0)[:, None])

    def parts(self, vectors: Array, ways: Array) -> Array:
        """Parts of vectors along the ways of their windows, (k,)."""
        return np.asarray(np.einsum("ij,ij->i", vectors, ways[self.of]))


def windows_along(pose: Array, first: Side, second: Side) -> Windows | None:
    """Windows in which both sides show enough of one rim, in the first side's frame; None where there is none."""
    places = _gathered(pose, first, second)
    if places is None:
        return None
    within = np.ones(len(places.of), dtype=bool)
    for _ in range(FRAMES):  # both sides must be seen up to the same slope, or a rim cut aslant is taken for flatter
        along, outward, up, clear = _frames(places, within)
        within = np.abs(places.parts(places.facing, up)) < SLOPE
    each = [places.counts(within & (places.second == k)) for k in (False, True)]
    enough = clear & (np.minimum(*each) >= LEAST_POINTS)
    if not enough.any():
        return None
    middle = 0.5 * (
        places.means(places.at_mm, within & places.second) + places.means(places.at_mm, within & ~places.second)
    )
    kept = within & enough[places.of]
    about = places.at_mm - middle[places.of]
    return Windows(
        starts=np.flatnonzero(np.r_[True, np.diff(places.of[kept]) > 0]),
        middle_mm=middle[enough],
        up=up[enough],
        inward_mm=-places.parts(about, outward)[kept],
        along_mm=places.parts(about, along)[kept],
        height_mm=places.parts(about, up)[kept],
        outward=places.parts(places.facing, outward)[kept],
        upward=places.parts(places.facing, up)[kept],
        second=places.second[kept],
    )


def _gathered(pose: Array, first: Side, second: Side) -> _Places | None:
    """Places of both sides that are near each other in plan, in windows every so often along the rim."""
    here, there = _round_part(first, np.eye(4)), _round_part(second, pose)
    if min(len(here[0]), len(there[0])) < LEAST_POINTS:
        return None
    cell = np.floor(here[0][:, :2] / (EVERY_SHARE * first.length_mm)).astype(np.int64)
    middles = here[0][np.unique(cell, axis=0, return_index=True)[1], :2]
    reach_mm = WINDOW_SHARE * first.length_mm / 2
    near = [[_some(each) for each in cKDTree(at[:, :2]).query_ball_point(middles, reach_mm)] for at, _ in (here, there)]
    windows = [
        np.r_[one, other + len(here[0])]
        for one, other in zip(*near, strict=True)
        if min(len(one), len(other)) >= LEAST_POINTS
    ]
    if not windows:
        return None
    used = np.concatenate(windows)
    at, facing = (np.concatenate(both)[used] for both in zip(here, there, strict=True))
    return _Places(
        at, facing, np.repeat(np.arange(len(windows)), [len(each) for each in windows]), used >= len(here[0])
    )


def _some(places: list[int]) -> IntArray:
    """No more of them than a window needs, evenly chosen."""
    return np.asarray(places[:: -(-len(places) // MOST_POINTS) or 1], dtype=np.int64)


def _round_part(side: Side, pose: Array) -> tuple[Array, Array]:
    """Places out of a crease's reach where the surface comes round, and the ways it faces there."""
    used = side.clean & (np.abs(side.normals[:, 2]) < WIDE)
    return moved(side.points_mm[used], pose), turned_by(side.normals[used], pose)


def _frames(places: _Places, within: BoolArray) -> tuple[Array, Array, Array, BoolArray]:
    """Ways along, out of and up across the rim, (w, 3) each, and which windows show them clearly."""
    one, other = (places.means(places.facing, within & (places.second == k)) for k in (False, True))
    along, outward = np.cross(one, other), one + other
    size, reach = np.linalg.norm(along, axis=1), np.linalg.norm(outward, axis=1)
    along, outward = along / np.maximum(size, 1e-9)[:, None], outward / np.maximum(reach, 1e-9)[:, None]
    up = np.cross(outward, along)
    return along, outward, up * np.sign(up[:, 2:]), (size > LEAST_BETWEEN) & (reach > 1.0)
