"""OFF: a word, three counts, corners, faces. It has no unit."""

import re

import numpy as np

from verifier.errors import Malformed, NoTriangles, Truncated
from verifier.mesh import Array, IntArray
from verifier.reading.colours import Colours, as_colours
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.lines import without_comments
from verifier.reading.numbers import cut_short, numbers_by_line, plain_text, refuse_long_text, whole_numbers
from verifier.reading.polygons import fan
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

# Corners may carry texture (ST), colour (C) and normal (N) behind their three numbers; homogeneous ones are not read.
HEAD = re.compile(rb"\s*(?:ST)?(C?)(N?)OFF\b(?!\s*BINARY)")


def read_off(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read a text OFF file.

    Raises Truncated, Malformed, NoTriangles, TooLarge.
    """
    refuse_long_text(data, where)
    text = without_comments(plain_text(data, limits.max_text_line_bytes, where))
    head = HEAD.match(text)
    if head is None:
        raise Malformed("it is a binary or homogeneous OFF", where=where, do="Export the scan as text OFF, or as STL")
    values, counts = numbers_by_line(text[head.end() :], where)
    counts = counts[counts > 0]
    starts = np.cumsum(counts) - counts
    points = _announced(values, counts, where)
    vertices = _vertices(values, starts[1 : points + 1], counts[1 : points + 1], where)
    corners, sides = _corners(values, starts[points + 1 :], counts[points + 1 :], where)
    triangles, notices = fan(corners, sides, points, limits.max_triangles, where)
    colours = _colours(values, starts[1 : points + 1], counts[1 : points + 1], *head.groups())
    return RawMesh(vertices, triangles, None, notices + cut_short(data), colours)


def _announced(values: Array, counts: IntArray, where: str) -> int:
    """Number of corners, once both counts agree with the lines there are."""
    if len(counts) == 0 or counts[0] not in (2, 3):
        raise Malformed("its counts of corners and faces are missing", where=where, do=EXPORT_AGAIN)
    points, faces = (int(count) for count in whole_numbers(values[:2], where))
    if faces == 0:
        do = "Export the scan as a mesh, with its triangles"
        raise NoTriangles(f"it is a point cloud: {points:,} points and no faces", where=where, do=do)
    if min(points, faces) < 0 or len(counts) > 1 + points + faces:
        raise Malformed("it has more lines than its counts announce", where=where, do=EXPORT_AGAIN)
    if len(counts) < 1 + points + faces:
        what = f"it announces {points:,} corners and {faces:,} faces and has {len(counts) - 1:,} lines for them"
        raise Truncated(what, where=where, do=EXPORT_AGAIN)
    return points


def _vertices(values: Array, starts: IntArray, counts: IntArray, where: str) -> Array:
    if (counts < 3).any():
        raise Malformed("it has a corner of fewer than three numbers", where=where, do=EXPORT_AGAIN)
    first_three: Array = values[starts[:, None] + np.arange(3)]
    return first_three


def _colours(values: Array, starts: IntArray, counts: IntArray, coloured: bytes, normal: bytes) -> Colours | None:
    """Three numbers behind a corner's place and normal, where the word at the head says so and every line has them."""
    behind = 6 if normal else 3
    if not coloured or (counts < behind + 3).any():
        return None
    return as_colours(values[starts[:, None] + np.arange(behind, behind + 3)])


def _corners(values: Array, starts: IntArray, counts: IntArray, where: str) -> tuple[IntArray, IntArray]:
    """Corner numbers of all faces, and how many each has; a colour may follow them on the line."""
    sides = whole_numbers(values[starts], where)
    if (sides < 0).any() or (sides >= counts).any():
        raise Truncated("it has a face with fewer corners than it announces", where=where, do=EXPORT_AGAIN)
    step = np.zeros(len(values) + 1, dtype=np.int8)  # up where a face's corners begin, down behind them
    step[starts + 1] += 1
    step[starts + 1 + sides] -= 1
    return whole_numbers(values[np.cumsum(step[:-1], dtype=np.int8) > 0], where), sides
