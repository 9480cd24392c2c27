"""Colours of corners on one scale, however a file writes them; what is no colour is left out and refuses no file."""

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import IntArray

# Red, green and blue of every corner, (n, 3).
Colours = NDArray[np.uint8]
FULL = 255.0


def as_colours(values: NDArray[np.generic], most: float | None = None) -> Colours | None:
    """Three numbers a corner, (n, 3), as bytes; None where one of them is no part of a colour.

    most : what stands for full light; None for numbers that reach either to 1 or to 255
    """
    if values.dtype == np.uint8:
        return np.ascontiguousarray(values, dtype=np.uint8)
    if values.dtype.kind not in "uif" or not len(values):
        return None
    low, high = float(np.min(values)), float(np.max(values))
    full = most or (1.0 if high <= 1.0 else FULL)
    if not 0.0 <= low <= high <= full:  # nor does what is no number pass
        return None
    return np.rint(values.astype(np.float64) * (FULL / full)).astype(np.uint8)


def at_corners(of_faces: Colours, faces: IntArray, count: int) -> Colours:
    """Colours of triangles as those of their corners, each that of one of its triangles; count : of corners."""
    colours = np.zeros((count, 3), dtype=np.uint8)
    for k in range(3):
        colours[faces[:, k]] = of_faces
    return colours
