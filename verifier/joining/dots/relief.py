"""Where a surface stands out a little, told from pictures of its heights taken along six directions."""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy import ndimage

from verifier.joining.dots.surroundings import bends
from verifier.mesh import Array, IntArray

# A picture shows what faces it within 60 degrees: any place faces one of six directions within 55.
LEAST_FACING = 0.5
LEAST_PIXEL_MM = 0.7
# Every so far, a smooth surface is laid through a ring that no dot reaches across, and its middle looked at.
STEP_MM, RING_MM, MIDDLE_MM = 1.5, (3.2, 5.6), 1.6
# So much of the ring has to be there.
LEAST_RING = 0.55
# What stands out less than this, or than so many scatters of the ring, is no dot.
LEAST_RISE_MM, LEAST_SCATTER_MM, SCATTERS = 0.03, 0.02, 1.8
# Deeper steps are another surface.
LAYER_MM = 6.0
# Of a cloud so few corners tell which way it lies.
FEW = 4000
AT_ONCE = 8192
# A picture of 3 x 3 m; strays farther off would make it fill the memory.
MOST_PIXELS = 2e7


@dataclass(frozen=True, slots=True)
class Places:
    """Places that stand out.

    at_mm : (n, 3); along : (n, 3) the way they were looked at
    worth : (n,) how far they stand out, in scatters of the surface around
    """

    at_mm: Array
    along: Array
    worth: Array


@dataclass(frozen=True, slots=True)
class Picture:
    """Heights of a surface seen along one direction.

    height_mm : (r, c), nan where nothing was seen
    """

    height_mm: Array
    pixel_mm: float
    low_mm: tuple[float, float]


def standing_out(points_mm: Array, normals: Array, spacing_mm: float, most: int) -> Places:
    """The places that stand out the most.

    points_mm, normals : (n, 3) corners and roughly the way the surface faces there
    """
    frame, middle = _axes(points_mm), points_mm.mean(axis=0)
    local, facing = (points_mm - middle) @ frame.T, normals @ frame.T
    found = [_seen_along(local, facing, k, sign, spacing_mm) for k in range(3) for sign in (1.0, -1.0)]
    at, along, worth = (np.concatenate(each) for each in zip(*found, strict=True))
    best = np.argsort(-worth, kind="stable")[:most]
    return Places(at[best] @ frame + middle, along[best] @ frame, worth[best])


def _axes(points_mm: Array) -> Array:
    some = points_mm[:: max(1, len(points_mm) // FEW)]
    return np.asarray(np.linalg.svd(some - some.mean(axis=0), full_matrices=False)[2])


def _seen_along(points: Array, facing: Array, axis: int, sign: float, spacing_mm: float) -> tuple[Array, Array, Array]:
    """Places that stand out in one picture, in its own axes."""
    across, aside = (axis + 1) % 3, (axis + 2) % 3
    chosen = np.flatnonzero(sign * facing[:, axis] > LEAST_FACING)
    if len(chosen) < FEW // 40:
        return np.empty((0, 3)), np.empty((0, 3)), np.empty(0)
    low, high = points[chosen].min(axis=0), points[chosen].max(axis=0)
    if np.prod((high - low)[[across, aside]] / max(LEAST_PIXEL_MM, spacing_mm)) > MOST_PIXELS:
        return np.empty((0, 3)), np.empty((0, 3)), np.empty(0)
    picture = _picture(points[chosen, across], points[chosen, aside], sign * points[chosen, axis], spacing_mm)
    where, height, worth = _raised(picture)
    at, along = np.empty((len(where), 3)), np.zeros((len(where), 3))
    at[:, across], at[:, aside] = (np.array(picture.low_mm) + (where + 0.5) * picture.pixel_mm).T
    at[:, axis], along[:, axis] = sign * height, sign
    return at, along, worth


def _picture(u: Array, v: Array, w: Array, spacing_mm: float) -> Picture:
    pixel_mm = max(LEAST_PIXEL_MM, spacing_mm)
    low = float(u.min()), float(v.min())
    i, j = (np.floor((each - least) / pixel_mm).astype(np.int64) for each, least in ((u, low[0]), (v, low[1])))
    rows, columns = int(i.max()) + 1, int(j.max()) + 1
    name = i * columns + j
    count = np.bincount(name, minlength=rows * columns)
    height = np.bincount(name, w, rows * columns) / np.where(count, count, np.nan)
    return Picture(height.reshape(rows, columns), pixel_mm, low)


def _raised(picture: Picture) -> tuple[IntArray, Array, Array]:
    """Pixels whose middle stands out of the ring around it more than those beside do: (n, 2), their heights, worth."""
    reach = int(RING_MM[1] / picture.pixel_mm) + 1
    padded = np.pad(picture.height_mm, reach, constant_values=np.nan)
    step = max(1, round(STEP_MM / picture.pixel_mm))
    rows, columns = (np.arange(size)[step // 2 :: step] for size in picture.height_mm.shape)
    worth = np.zeros((len(rows), len(columns)))
    filled = np.argwhere(~np.isnan(picture.height_mm[np.ix_(rows, columns)]))
    windows = sliding_window_view(padded, (2 * reach + 1, 2 * reach + 1))
    for first in range(0, len(filled), AT_ONCE):
        some = filled[first : first + AT_ONCE]
        window = windows[rows[some[:, 0]], columns[some[:, 1]]].reshape(len(some), -1)
        worth[tuple(some.T)] = _worth(window, reach, picture.pixel_mm)
    best = np.argwhere((worth > SCATTERS) & (worth == ndimage.maximum_filter(worth, 3)))
    where = np.column_stack([rows[best[:, 0]], columns[best[:, 1]]])
    return where, picture.height_mm[tuple(where.T)], worth[tuple(best.T)]


def _worth(windows: Array, reach: int, pixel_mm: float) -> Array:
    """How many scatters of its ring every window's middle stands out; nought where it is too low or the ring ends.

    windows : (n, w * w) heights, nan where nothing was seen
    """
    u, v = (each.ravel() * pixel_mm for each in np.indices((2 * reach + 1,) * 2).astype(np.float64) - reach)
    away = np.hypot(u, v)
    of_ring, of_middle = (away > RING_MM[0]) & (away < RING_MM[1]), away < MIDDLE_MM
    heights = windows - windows[:, len(u) // 2, None]
    there = np.abs(heights) < LAYER_MM  # nan is not
    heights = np.where(there, heights, 0.0)
    bend = bends(u, v)
    ring, here, level = bend[of_ring], there[:, of_ring].astype(np.float64), heights[:, of_ring]
    products = (ring[:, :, None] * ring[:, None, :]).reshape(len(ring), 36)
    square = (here @ products).reshape(-1, 6, 6) + 1e-6 * np.eye(6)
    right = level @ ring
    form = np.linalg.solve(square, right[:, :, None])[:, :, 0]
    many = here.sum(axis=1)
    left = np.maximum((level**2).sum(axis=1) - np.einsum("nk,nk->n", form, right), 0.0)
    scatter = np.sqrt(left / np.maximum(many - 6.0, 1.0))
    inner = there[:, of_middle]
    over = np.where(inner, heights[:, of_middle] - form @ bend[of_middle].T, 0.0)
    rise = over.sum(axis=1) / np.maximum(inner.sum(axis=1), 1)
    good = (many > LEAST_RING * len(ring)) & (rise > LEAST_RISE_MM)
    return np.asarray(np.where(good, rise / np.maximum(scatter, LEAST_SCATTER_MM), 0.0))
