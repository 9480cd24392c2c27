"""Closed lines in a plane, each corner a complex number, and where other places lie about them."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from verifier.mending.underside import Plane
from verifier.mesh import Array, BoolArray

Flat = NDArray[np.complex128]
# So many places are asked at once whether they lie within a line: of a million faces, a thousand corners long, all at
# once would need a gigabyte.
AT_ONCE = 2048


def in_plane(points_mm: Array, plane: Plane) -> Flat:
    """Points (n, 3) as seen along the plane's normal, (n,)."""
    x, y = np.linalg.svd(plane.normal[None])[2][1:] @ points_mm.T
    return np.asarray(x + 1j * y)


def winds_round(outline: Flat) -> bool:
    """Whether a closed line goes round nought."""
    return bool(abs(np.angle(np.roll(outline, -1) / outline).sum()) > np.pi)


def near_any(outlines: Sequence[Flat], at: Flat, reach_mm: float) -> BoolArray:
    """Which places lie so near to a corner of an outline, (n,)."""
    line = np.concatenate(outlines)
    off, _ = cKDTree(np.column_stack([line.real, line.imag])).query(
        np.column_stack([at.real, at.imag]), distance_upper_bound=reach_mm
    )
    return np.asarray(off < reach_mm)


def within_any(outlines: Sequence[Flat], at: Flat) -> BoolArray:
    """Which places lie within an outline, (n,): a ray to one side crosses it an odd number of times."""
    inside = np.zeros(len(at), dtype=bool)
    for outline in outlines:
        middle = outline.mean()
        boxed = np.flatnonzero(np.abs(at - middle) <= np.abs(outline - middle).max())
        for some in np.array_split(boxed, 1 + len(boxed) // AT_ONCE):
            inside[some] |= _within(outline, at[some])
    return inside


def _within(outline: Flat, at: Flat) -> BoolArray:
    ahead, x, y = np.roll(outline, -1), at.real[:, None], at.imag[:, None]
    straddles = (outline.imag > y) != (ahead.imag > y)
    rise = np.where(ahead.imag == outline.imag, 1.0, ahead.imag - outline.imag)
    crossing = outline.real + (y - outline.imag) * (ahead.real - outline.real) / rise
    return np.asarray((straddles & (crossing > x)).sum(axis=1) % 2 == 1)
