"""Binary STL: 80 bytes of header, a count, 50 bytes a triangle. It has no unit and no shared corners."""

import numpy as np

from verifier.errors import Malformed, NoTriangles, Truncated
from verifier.mesh import Array
from verifier.reading.file_bytes import EXPORT_AGAIN
from verifier.reading.polygons import too_many_triangles
from verifier.reading.raw_mesh import RawMesh
from verifier.rulebook.rules import Reading

HEADER_BYTES = 84
TRIANGLE_BYTES = 50
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def announced_triangles(data: bytes) -> int:
    """The count in the header; the file has at least 84 bytes."""
    return int.from_bytes(data[80:84], "little")


def fits_its_count(data: bytes) -> bool:
    """Whether the file is as long as its count says: a binary STL is known by this, and not by the word at its head."""
    return len(data) >= HEADER_BYTES and len(data) == HEADER_BYTES + TRIANGLE_BYTES * announced_triangles(data)


def read_stl_binary(data: bytes, where: str, limits: Reading) -> RawMesh:
    """Read a binary STL; corners come out unshared, three to a triangle.

    Raises Truncated, Malformed, NoTriangles, TooLarge.
    """
    _refuse_false_count(data, where)
    count = announced_triangles(data)
    if count > limits.max_triangles:
        raise too_many_triangles(count, limits.max_triangles, where)
    records = np.frombuffer(data, dtype=RECORD, offset=HEADER_BYTES)
    # An exporter that reserves the space first and is stopped leaves the right length with nothing at the end.
    if not data[-TRIANGLE_BYTES:].strip(b"\0"):
        raise Truncated("its last triangle was never written: all zeros", where=where, do=EXPORT_AGAIN)
    with np.errstate(invalid="ignore"):  # numbers that are none are looked for with those of the other formats
        corners: Array = records["corners"].astype(np.float64).reshape(-1, 3)
    return RawMesh(corners, np.arange(3 * count, dtype=np.int64).reshape(-1, 3))


def _refuse_false_count(data: bytes, where: str) -> None:
    """The count must be what the length holds, and is refused before anything is allocated for it."""
    if len(data) < HEADER_BYTES:
        raise Truncated(f"it ends within its header, after {len(data)} bytes", where=where, do=EXPORT_AGAIN)
    announced = announced_triangles(data)
    present, rest = divmod(len(data) - HEADER_BYTES, TRIANGLE_BYTES)
    if announced > present:
        raise Truncated(f"it announces {announced:,} triangles and has {present:,}", where=where, do=EXPORT_AGAIN)
    if announced < present or rest:
        what = f"it announces {announced:,} triangles and has {len(data) - HEADER_BYTES - 50 * announced:,} bytes more"
        raise Malformed(what, where=where, do=EXPORT_AGAIN)
    if announced == 0:
        raise NoTriangles("it announces 0 triangles", where=where, do="Export the scan as a mesh, with its surface")
