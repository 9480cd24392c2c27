"""OBJ: text of v and f lines. It has no unit and no count, and names other files, which are not opened."""

import re

import numpy as np

from verifier.errors import Malformed, NoTriangles
from verifier.mesh import Array, BoolArray, IntArray
from verifier.reading.colours import Colours, as_colours
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.lines import Lines, lines_of, replaced, without_comments
from verifier.reading.numbers import cut_short, numbers_by_line, plain_text, refuse_long_text, whole_numbers
from verifier.reading.polygons import fan
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

CONTINUED = re.compile(rb"\\[ \t]*\n")
BEYOND_CORNER = re.compile(rb"/[^\s]*")


def read_obj(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read an OBJ file; only corners, their colours and faces are taken.

    A file that stops at the end of a line cannot be told from a whole one, since the format has no count.
    Raises Malformed, NoTriangles, TooLarge.
    """
    refuse_long_text(data, where)
    text = plain_text(data, limits.max_text_line_bytes, where)
    if b"\\" in text:
        text = plain_text(replaced(CONTINUED, b" ", text), limits.max_text_line_bytes, where)
    lines = lines_of(without_comments(text))
    _refuse_broken(lines, where)
    is_vertex, is_face = lines.begin_with(b"v"), lines.begin_with(b"f")
    if not is_face.any():
        do = "Export the scan as a mesh, with its triangles"
        raise NoTriangles(f"it has {int(is_vertex.sum()):,} points and no faces", where=where, do=do)
    vertices, colours = _vertices(lines, is_vertex, where)
    corners, counts = _corners(lines, is_face, where)
    if corners.size and corners.min() > 0:
        corners -= 1
    else:
        known = np.repeat(np.cumsum(is_vertex, dtype=np.int64)[is_face], counts)
        corners = _from_zero(corners, known, where)
    faces, notices = fan(corners, counts, len(vertices), limits.max_triangles, where)
    return RawMesh(vertices, faces, None, notices + cut_short(data), colours)


def _refuse_broken(lines: Lines, where: str) -> None:
    """Raise Malformed for a line that no OBJ has: passed over, it would be a triangle lost or a corner cut off."""
    if lines.begin_almost_with(b"f", b"") or lines.begin_almost_with(b"v", b"tnp"):
        raise Malformed("it has a line that is almost a corner or a face", where=where, do=EXPORT_AGAIN)
    if lines.begin_with_number():
        raise Malformed("it has a line of numbers alone: a line was broken in two", where=where, do=EXPORT_AGAIN)


def _vertices(lines: Lines, is_vertex: BoolArray, where: str) -> tuple[Array, Colours | None]:
    """First three numbers of each v line; a weight may follow, or the three of a colour where every line has them."""
    values, counts = numbers_by_line(lines.text_of(is_vertex), where)
    if (counts < 3).any():
        raise Malformed("it has a corner of fewer than three numbers", where=where, do=EXPORT_AGAIN)
    starts = np.cumsum(counts) - counts
    first_three: Array = values[starts[:, None] + np.arange(3)]
    colours = as_colours(values.reshape(-1, 6)[:, 3:]) if (counts == 6).all() else None
    return first_three, colours


def _corners(lines: Lines, is_face: BoolArray, where: str) -> tuple[IntArray, IntArray]:
    """Corner numbers as written, and how many each face has; textures and normals behind a slash are left."""
    text = lines.text_of(is_face)
    if b"/" in text:
        text = replaced(BEYOND_CORNER, b"", text)
    values, counts = numbers_by_line(text, where)
    return whole_numbers(values, where), counts


def _from_zero(corners: IntArray, known: IntArray, where: str) -> IntArray:
    """Corner numbers from 0; OBJ counts from 1, and negative ones back from the corners known so far.

    known : corners written before each face, (k,)
    """
    if (corners == 0).any():
        raise Malformed("it has a face with corner 0, and OBJ counts from 1", where=where, do=EXPORT_AGAIN)
    if (corners < -known).any():
        raise Malformed("it has a face that counts back before the first corner", where=where, do=EXPORT_AGAIN)
    return np.where(corners > 0, corners - 1, corners + known)
