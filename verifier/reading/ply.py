"""PLY: text or binary, with any further properties, elements in any order. It has no unit."""

import numpy as np

from verifier.errors import Malformed, NoTriangles, TooLarge
from verifier.mesh import Array, IntArray
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.numbers import cut_short, numbers, plain_text, refuse_long_text, whole_numbers
from verifier.reading.ply_body import Body, BytesBody, NumbersBody
from verifier.reading.ply_colours import ply_colours
from verifier.reading.ply_header import Header, read_header
from verifier.reading.ply_rows import Rows, read_rows
from verifier.reading.polygons import fan, too_many_corners, too_many_triangles
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

CORNER_LISTS = ("vertex_indices", "vertex_index")
# Corners and texture are two lists a face; records full of lists would have to be walked for minutes.
LISTS_PER_TRIANGLE = 2
# Some exporters end a binary file with a line feed; anything longer is a record that the header does not count.
MAX_TRAILING_BYTES = 2


def read_ply(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read a PLY file.

    Raises Truncated, Malformed, NoTriangles (a point cloud), TooLarge.
    """
    header = read_header(data, where)
    _refuse_counts(header, limits, where)
    rows = _all_rows(*_body(data, header, where, limits), header, where)
    vertices = _vertices(rows.get("vertex"), where)
    corners, counts = _corner_lists(rows.get("face"), where)
    faces, notices = fan(corners, counts, len(vertices), limits.max_triangles, where)
    notices += cut_short(data) if header.form == "ascii" else ()
    # Faces that were cut into triangles are no longer in the order of their colours.
    coloured = faces if (counts == 3).all() else None
    return RawMesh(vertices, faces, None, notices, ply_colours(header, rows, coloured, len(vertices)))


def _refuse_counts(header: Header, limits: Reading, where: str) -> None:
    counts = {element.name: element.count for element in header.elements}
    if not counts.get("face"):
        raise _no_faces(counts, where)
    if counts["face"] > limits.max_triangles:
        raise too_many_triangles(counts["face"], limits.max_triangles, where)
    lists = sum(element.count * element.list_count for element in header.elements)
    if lists > LISTS_PER_TRIANGLE * limits.max_triangles:
        what = f"it has {lists:,} lists beside its numbers"
        raise TooLarge(what, where=where, do="Export it with its triangles alone, or as STL")
    if counts.get("vertex", 0) > 3 * limits.max_triangles:
        raise too_many_corners(counts["vertex"], limits.max_triangles, where)


def _no_faces(counts: dict[str, int], where: str) -> NoTriangles:
    do = "Export the scan as a mesh, with its triangles"
    if counts.get("tristrips"):
        return NoTriangles("its surface is written in triangle strips", where=where, do=do)
    points = counts.get("vertex", 0)
    return NoTriangles(f"it is a point cloud: {points:,} points and no faces", where=where, do=do)


def _body(data: bytes, header: Header, where: str, limits: Reading) -> tuple[Body, int]:
    if header.form == "ascii":
        refuse_long_text(data, where)
        text = plain_text(data[header.body :], limits.max_text_line_bytes, where)
        return NumbersBody(numbers(text, where)), 0
    return BytesBody(data, "<" if header.form == "binary_little_endian" else ">"), header.body


def _all_rows(body: Body, start: int, header: Header, where: str) -> dict[str, Rows]:
    rows = {}
    for element in header.elements:
        rows[element.name] = read_rows(body, start, element, where)
        start = rows[element.name].end
    _refuse_leftover(body, start, where)
    return rows


def _refuse_leftover(body: Body, end: int, where: str) -> None:
    left = body.length - end
    blank = isinstance(body, BytesBody) and left <= MAX_TRAILING_BYTES and not body.data[end:].strip()
    if left and not blank:
        raise Malformed("it goes on after the last record that it announces", where=where, do=EXPORT_AGAIN)


def _vertices(rows: Rows | None, where: str) -> Array:
    axes = [rows.numbers.get(axis) for axis in "xyz"] if rows else [None]
    if any(axis is None for axis in axes):
        raise Malformed("its vertices lack x, y or z", where=where, do=EXPORT_AGAIN)
    return np.column_stack([np.asarray(axis, dtype=np.float64) for axis in axes])


def _corner_lists(rows: Rows | None, where: str) -> tuple[IntArray, IntArray]:
    for name in CORNER_LISTS:
        if rows and name in rows.lists:
            corners, counts = rows.lists[name]
            return whole_numbers(corners, where), counts
    raise Malformed("its faces lack the list vertex_indices", where=where, do=EXPORT_AGAIN)
