"""PLY in its three forms, with everything its header allows."""

import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, ply_binary, ply_header, ply_text
from verifier.errors import Malformed, NoTriangles, TooLarge, Truncated
from verifier.reading.ply import read_ply

QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
ORDERS = {"<": "binary_little_endian", ">": "binary_big_endian"}


def read(data, **limits):
    return read_ply(data, "fence_clip.ply", LIMITS.model_copy(update=limits))


def header(form, *lines):
    return "\n".join(["ply", f"format {form} 1.0", *lines, "end_header", ""]).encode()


@pytest.mark.parametrize("order", ORDERS)
def test_further_properties_and_elements_are_passed_over_in_either_byte_order(order):
    """Colours, a quality, texture lists and edges, faces before vertices: as scanning exports have them."""
    mesh = box()
    head = header(
        ORDERS[order],
        *("element face 12", "property uchar flags", "property list uchar int vertex_index"),
        *("property list uint8 float32 texcoord", "property double quality"),
        *("element edge 2", "property int vertex1", "property int vertex2"),
        *("element vertex 8", "property uchar red", "property double x", "property double y", "property double z"),
    )
    body = b"".join(struct.pack(f"{order}BB3iB6fd", 7, 3, *face, 6, *range(6), 0.5) for face in mesh.faces)
    body += struct.pack(f"{order}4i", 0, 1, 1, 2)
    body += b"".join(struct.pack(f"{order}B3d", 255, *corner) for corner in mesh.vertices_mm)
    raw = read(head + body)
    assert_array_equal(raw.faces, mesh.faces)
    assert_array_equal(raw.vertices, mesh.vertices_mm)


@pytest.mark.parametrize("order", ORDERS)
def test_triangles_and_quads_in_one_file_lose_no_corner(order):
    mesh = box()
    faces = [tuple(face) for face in mesh.faces[:2]] + QUADS[1:]
    head = ply_header(ORDERS[order], 8, len(faces))
    body = b"".join(struct.pack(f"{order}3f", *corner) for corner in mesh.vertices_mm)
    body += b"".join(struct.pack(f"{order}B{len(face)}i", len(face), *face) for face in faces)
    raw = read(head + body)
    assert_array_equal(raw.faces, mesh.faces)
    assert raw.notices == ("5 faces with more than three corners were cut into triangles.",)


def test_triangles_and_quads_in_a_text_lose_no_corner():
    mesh = box()
    lines = ["3 0 1 3 0.5", "3 0 3 2 0.5"] + [f"4 {a} {b} {c} {d} 0.5" for a, b, c, d in QUADS[1:]]
    head = ply_header("ascii", 8, len(lines)).replace(b"end_header", b"property float quality\nend_header")
    corners = "".join(f"{x} {y} {z}\n" for x, y, z in mesh.vertices_mm)
    assert_array_equal(read(head + corners.encode() + "\n".join(lines).encode()).faces, mesh.faces)


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"])
@pytest.mark.parametrize("write", [ply_text, ply_binary])
def test_header_lines_may_end_as_on_any_system(write, ending):
    """Coordinates that begin with a line feed's byte must not be taken for the header's end."""
    mesh = box(x=struct.unpack("<f", b"\x0a\x0a\x0a\x41")[0] * 2)
    head, _, body = write(mesh).partition(b"end_header\n")
    raw = read(head.replace(b"\n", ending) + b"end_header" + ending + body)
    assert_array_equal(raw.vertices, mesh.vertices_mm)


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_types_any_polygons_come_back(data):
    """Corner lists of every whole type and length, mixed, against the records as they were packed."""
    counts, kind = data.draw(st.sampled_from([("uchar", "B"), ("int", "i"), ("ushort", "H"), ("char", "b")]))
    indices, code = data.draw(st.sampled_from([("int", "i"), ("uint", "I"), ("uchar", "B"), ("short", "h")]))
    order = data.draw(st.sampled_from("<>"))
    faces = data.draw(st.lists(st.lists(st.integers(0, 7), min_size=3, max_size=6), min_size=1, max_size=30))
    head = header(
        ORDERS[order],
        *("element vertex 8", "property float x", "property float y", "property float z"),
        *(f"element face {len(faces)}", f"property list {counts} {indices} vertex_indices"),
    )
    body = b"".join(struct.pack(f"{order}3f", *corner) for corner in box().vertices_mm)
    body += b"".join(struct.pack(f"{order}{kind}{len(face)}{code}", len(face), *face) for face in faces)
    fans = [(face[0], face[k], face[k + 1]) for face in faces for k in range(1, len(face) - 1)]
    assert_array_equal(read(head + body).faces, fans)


@pytest.mark.parametrize("extra", [b"\n", b"\r\n"])
def test_a_line_end_behind_the_last_record_is_no_record(extra):
    assert len(read(ply_binary(box()) + extra).faces) == 12


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian"])
@pytest.mark.parametrize("element", ["vertex", "face"])
def test_a_count_of_four_milliard_is_refused_before_anything_is_allocated(form, element):
    counts = {"vertex": 8, "face": 12, element: 4_000_000_000}
    data = ply_header(form, counts["vertex"], counts["face"]) + bytes(100).replace(b"\0", b"1 ")
    with pytest.raises((Truncated, TooLarge)):
        read(data)
    with pytest.raises(Truncated, match="4,000,000,000"):
        read(data, max_triangles=5_000_000_000)


def test_records_full_of_lists_are_refused_before_they_are_walked():
    lists = "".join(f"property list uchar uchar l{k}\n" for k in range(3)).encode()
    data = ply_binary(box()).replace(b"end_header", lists + b"end_header") + bytes(1000)
    with pytest.raises(TooLarge, match="48 lists"):
        read(data, max_triangles=20)


def test_a_million_lists_of_nothing_are_refused_before_they_are_walked():
    """Two lengths in turn, so that the records are not of one size."""
    head = ply_header("binary_little_endian", 0, 200_000).replace(b"uchar int", b"uchar uchar")
    with pytest.raises(Malformed, match="most of its lists are empty"):
        read(head + b"\0\1\0" * 100_000)


def test_a_text_too_long_to_be_taken_at_once_is_refused(monkeypatch):
    monkeypatch.setattr("verifier.reading.numbers.MAX_BYTES_AT_ONCE", 300)
    with pytest.raises(TooLarge, match="a text of"):
        read(ply_text(box()))
    assert len(read(ply_binary(box(), "<")).faces) == 12


@pytest.mark.parametrize("write", [ply_text, ply_binary])
def test_a_count_that_is_too_small_is_refused_and_loses_no_triangle(write):
    data = write(box())
    for few in (b"element face 11", b"element vertex 7"):
        kind = few.rpartition(b" ")[0]
        with pytest.raises((Malformed, Truncated)):
            read(data.replace(kind + (b" 12" if b"face" in few else b" 8"), few))


@pytest.mark.parametrize("faces", ["", "element face 0\nproperty list uchar int vertex_indices\n"])
def test_a_point_cloud_is_refused_as_one(faces):
    lines = ["element vertex 1", *(f"property float {axis}" for axis in "xyz"), *faces.splitlines()]
    with pytest.raises(NoTriangles, match="point cloud: 1 points"):
        read(header("ascii", *lines) + b"1 2 3\n")


def test_a_surface_in_strips_is_refused_and_not_read_as_empty():
    lines = ["element vertex 3", *(f"property float {axis}" for axis in "xyz"), "element tristrips 1"]
    data = header("ascii", *lines, "property list int int vertex_indices") + b"0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"
    with pytest.raises(NoTriangles, match="strips"):
        read(data)


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        (b"ply\n", b"ply now\n", Malformed),
        (b"ascii 1.0", b"ascii 2.0", Malformed),
        (b"end_header", b"end_heading", Truncated),
        (b"property double x", b"property long x", Malformed),
        (b"property double x", b"property double y", Malformed),
        (b"property double x", b"property double w", Malformed),
        (b"property double x\n", b"", Malformed),
        (b"list uchar int", b"list float int", Malformed),
        (b"vertex_indices", b"corners", Malformed),
        (b"element face 12", b"element face -12", Malformed),
        (b"element face 12", b"element face 1e9", Malformed),
        (b"element face 12", b"element vertex 12", Malformed),
        (b"\n3 0 1 3", b"\n3 0 1 3.5", Malformed),
        (b"\n3 0 1 3", b"\n3 0 1 x", Malformed),
        (b"\n3 0 1 3", b"\n3.5 0 1 3", Malformed),
        (b"\n3 0 1 3", b"\n-3 0 1 3", Malformed),
        (b"\n3 0 1 3", b"\n99999 0 1 3", Malformed),
        (b"\n3 0 1 3", b"\n2 0 1", Malformed),
        (b"\n3 0 1 3", b"\n3 0 1", Malformed),
        (b"\n3 1 7 3\n", b"\n3 1 7\n", Truncated),
    ],
)
def test_what_breaks_the_format_is_refused(old, new, error):
    data = ply_text(box())
    assert old in data
    with pytest.raises(error):
        read(data.replace(old, new, 1))


def test_a_binary_list_of_impossible_length_is_refused():
    first = len(ply_header("binary_little_endian", 8, 12)) + 8 * 12
    data = ply_binary(box())
    with pytest.raises(Truncated):
        read(data[:first] + b"\xff" + data[first + 1 :])
    with pytest.raises(Malformed, match="impossible length"):
        read(data[:first].replace(b"list uchar", b"list uint") + b"\xff\xff\xff\xff\0" + data[first:])


def test_a_header_line_is_shown_without_what_cannot_be_printed():
    with pytest.raises(Malformed) as refused:
        read(ply_text(box()).replace(b"comment fence clip", b"comm\x1b[31m fence"))
    assert "\x1b" not in str(refused.value)


def test_whole_numbers_as_corner_coordinates_are_read():
    lines = ["element vertex 3", *(f"property int {axis}" for axis in "xyz"), "element face 1"]
    data = header("binary_little_endian", *lines, "property list uchar uint vertex_indices")
    data += struct.pack("<9i", 0, 0, 0, 5, 0, 0, 0, -7, 0) + struct.pack("<B3I", 3, 0, 1, 2)
    raw = read(data)
    assert raw.vertices.dtype == np.float64
    assert_array_equal(raw.vertices, [[0, 0, 0], [5, 0, 0], [0, -7, 0]])
