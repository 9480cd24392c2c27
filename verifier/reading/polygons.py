"""Faces of any number of corners into triangles."""

import numpy as np

from verifier.errors import Malformed, TooLarge
from verifier.mesh import IntArray
from verifier.reading.blocks import blocks
from verifier.reading.file_bytes import EXPORT_AGAIN

# Up to this share of faces may be unusable and be left out with a notice; beyond it the export itself is at fault.
MAX_DROPPED_SHARE = 0.01
# A closed surface has two triangles a corner, a soup a third of one, and one written twice four. A surface full of
# passages has more by Euler's formula; eight are beyond any scan. A few faces may be about anything.
TRIANGLES_PER_CORNER, TRIANGLES_AT_ALL_EVENTS = 8, 100_000


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


def corner_missing(where: str) -> Malformed:
    """The refusal of a face with a corner number beyond the corners there are."""
    return Malformed("it has a face with a corner that does not exist", where=where, do=EXPORT_AGAIN)


def fan(corners: IntArray, counts: IntArray, points: int, limit: int, where: str) -> tuple[IntArray, tuple[str, ...]]:
    """Cut each face into triangles about its first corner.

    corners : (k,) all corner numbers, face after face
    counts : (faces,) corners of each face
    points : how many corners the file has
    limit : greatest number of triangles
    Returns (m, 3) and the notices. Raises Malformed when a corner does not exist, when too many faces have under three,
    and when there are far too many for the corners; TooLarge.
    """
    pieces = np.maximum(counts - 2, 0)
    triangles = int(pieces.sum())
    if triangles > limit:
        raise too_many_triangles(triangles, limit, where)
    refuse_crowded(corners, triangles, points, where)
    if len(counts) == 0 or (counts == 3).all():
        return corners.reshape(-1, 3), ()
    notices = _short_faces(counts, where) + _long_faces(counts)
    return _cut(corners, counts, pieces, triangles), notices


def refuse_crowded(corners: IntArray, triangles: int, points: int, where: str) -> None:
    """Raise Malformed for a corner that does not exist, and for more triangles than so few corners can carry.

    corners : corner numbers, any shape
    One face again and again takes two bytes a triangle in a file and a hundred in memory.
    """
    if corners.size and not 0 <= int(corners.min()) <= int(corners.max()) < points:
        raise corner_missing(where)
    used = np.zeros(points, dtype=bool)
    used[corners] = True
    count = int(used.sum())
    if triangles > TRIANGLES_AT_ALL_EVENTS + TRIANGLES_PER_CORNER * count:
        what = f"it has {triangles:,} triangles over {count:,} corners: the same faces again and again"
        raise Malformed(what, where=where, do=EXPORT_AGAIN)


def _cut(corners: IntArray, counts: IntArray, pieces: IntArray, triangles: int) -> IntArray:
    """The triangles of all faces, some faces at a time."""
    found, done = np.empty((triangles, 3), dtype=np.int64), 0
    starts = np.cumsum(counts) - counts
    for some in blocks(pieces):
        of_face = np.repeat(np.arange(some.start, some.stop), pieces[some])
        within = np.arange(len(of_face)) - np.repeat(np.cumsum(pieces[some]) - pieces[some], pieces[some])
        second = starts[of_face] + within + 1
        found[done : done + len(second)] = np.column_stack(
            [corners[starts[of_face]], corners[second], corners[second + 1]]
        )
        done += len(second)
    return found


def _short_faces(counts: IntArray, where: str) -> tuple[str, ...]:
    short = int((counts < 3).sum())
    if short > MAX_DROPPED_SHARE * len(counts):
        what = f"{short:,} of its {len(counts):,} faces have fewer than three corners"
        raise Malformed(what, where=where, do="Export the scan again as triangles")
    return (f"{short:,} of {len(counts):,} faces have fewer than three corners and were left out.",) if short else ()


def _long_faces(counts: IntArray) -> tuple[str, ...]:
    long = int((counts > 3).sum())
    return (f"{long:,} faces with more than three corners were cut into triangles.",) if long else ()
