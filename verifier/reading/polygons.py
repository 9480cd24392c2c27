"""Faces of any number of corners into triangles."""

import numpy as np

from verifier.errors import Malformed, TooLarge
from verifier.mesh import IntArray

# Up to this share of faces may be unusable and be left out with a notice; beyond it the export itself is at fault.
MAX_DROPPED_SHARE = 0.01


def too_many_triangles(count: int, limit: int, where: str) -> TooLarge:
    """The refusal every reader raises before it allocates."""
    return TooLarge(
        f"it has {count:,} triangles and the limit is {limit:,}",
        where=where,
        do="Export it with fewer triangles, or raise max_triangles in the acceptance rules",
    )


def too_many_corners(count: int, max_triangles: int, where: str) -> TooLarge:
    """The refusal of more points than the greatest number of triangles has corners."""
    what = f"it has {count:,} points, more than the corners of {max_triangles:,} triangles"
    return TooLarge(what, where=where, do="Export it with fewer triangles")


def fan(corners: IntArray, counts: IntArray, limit: int, where: str) -> tuple[IntArray, tuple[str, ...]]:
    """Cut each face into triangles about its first corner.

    corners : (k,) all corner numbers, face after face
    counts : (faces,) corners of each face
    limit : greatest number of triangles
    Returns (m, 3) and the notices. Raises Malformed when too many faces have under three corners, and TooLarge.
    """
    if len(counts) == 0 or (counts == 3).all():
        return _within(corners.reshape(-1, 3), limit, where), ()
    notices = _short_faces(counts, where) + _long_faces(counts)
    starts = np.cumsum(counts) - counts
    pieces = np.maximum(counts - 2, 0)
    if pieces.sum() > limit:
        raise too_many_triangles(int(pieces.sum()), limit, where)
    first = np.repeat(starts, pieces)
    step = np.arange(len(first)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    return np.column_stack([corners[first], corners[first + step + 1], corners[first + step + 2]]), notices


def _within(triangles: IntArray, limit: int, where: str) -> IntArray:
    if len(triangles) > limit:
        raise too_many_triangles(len(triangles), limit, where)
    return triangles


def _short_faces(counts: IntArray, where: str) -> tuple[str, ...]:
    short = int((counts < 3).sum())
    if short > MAX_DROPPED_SHARE * len(counts):
        what = f"{short:,} of its {len(counts):,} faces have fewer than three corners"
        raise Malformed(what, where=where, do="Export the scan again as triangles")
    return (f"{short:,} of {len(counts):,} faces have fewer than three corners and were left out.",) if short else ()


def _long_faces(counts: IntArray) -> tuple[str, ...]:
    long = int((counts > 3).sum())
    return (f"{long:,} faces with more than three corners were cut into triangles.",) if long else ()
