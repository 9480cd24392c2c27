"""Colours come with the corners they are of, and what is no colour changes nothing else."""

import struct

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, glb_of, glb_parts, obj, off, ply_header
from verifier.mesh import Mesh
from verifier.reading.checks import checked
from verifier.reading.formats import format_of
from verifier.reading.raw_mesh import RawMesh

MESH = box()
COLOURS = np.random.default_rng(4).integers(0, 256, (8, 3)).astype(np.uint8)
NAMES = ("red", "green", "blue")
# How a type of PLY writes a byte of colour, and its letter for struct.
TYPES = {"uchar": (lambda c: c, "B"), "ushort": (lambda c: 257 * c, "H"), "float": (lambda c: c / 255, "f")}


def read(data: bytes, name: str = "fence_clip.ply") -> RawMesh:
    return checked(format_of(data, name).read(data, name, LIMITS), name, LIMITS)


def coloured_ply(form: str, kind: str, colours=COLOURS, mesh: Mesh = MESH) -> bytes:
    write, letter = TYPES[kind]
    extra = "".join(f"property {kind} {name}\n" for name in NAMES)
    head = ply_header(form, len(mesh.vertices_mm), len(mesh.faces), extra=extra)
    rows = [
        (*corner, *map(write, colour))
        for corner, colour in zip(mesh.vertices_mm.tolist(), colours.tolist(), strict=True)
    ]
    if form == "ascii":
        lines = [" ".join(map(repr, row)) for row in rows] + [f"3 {a} {b} {c}" for a, b, c in mesh.faces]
        return head + "\n".join([*lines, ""]).encode()
    order = "<" if "little" in form else ">"
    body = b"".join(struct.pack(f"{order}3f3{letter}", *row) for row in rows)
    return head + body + b"".join(struct.pack(f"{order}B3i", 3, *face) for face in mesh.faces)


@pytest.mark.parametrize("form", ["ascii", "binary_little_endian", "binary_big_endian"])
@pytest.mark.parametrize("kind", TYPES)
def test_colours_of_a_ply_are_read_in_all_its_forms(form, kind):
    raw = read(coloured_ply(form, kind))
    assert_array_equal(raw.colours, COLOURS)
    assert_array_equal(raw.vertices, MESH.vertices_mm)


@pytest.mark.parametrize("full", [1.0, 255.0])
def test_colours_behind_the_corners_of_an_obj_and_an_off_are_read(full):
    rows = [" ".join(map(repr, row)) for row in (COLOURS * (full / 255.0)).tolist()]
    text = obj(MESH).decode().splitlines()
    lines = [f"{line} {row}" for line, row in zip(text[:8], rows, strict=True)] + text[8:]
    assert_array_equal(read("\n".join([*lines, ""]).encode(), "fence_clip.obj").colours, COLOURS)
    text = off(MESH).decode().splitlines()
    lines = [f"{line} 0 0 1 {row} {full}" for line, row in zip(text[2:10], rows, strict=True)] + text[10:]
    assert_array_equal(read("\n".join(["CNOFF", text[1], *lines, ""]).encode()).colours, COLOURS)
    assert read("\n".join(["OFF", text[1], *lines, ""]).encode()).colours is None


def test_colours_of_triangles_are_those_of_their_corners():
    rgb = "".join(f"property uchar {name}\n" for name in NAMES).encode()
    head = ply_header("binary_little_endian", 8, 12).replace(b"end_header", rgb + b"end_header")
    body = MESH.vertices_mm.astype("<f4").tobytes()
    body += b"".join(struct.pack("<B3i3B", 3, *face, 200, 90, 10) for face in MESH.faces)
    assert_array_equal(read(head + body).colours, np.tile([200, 90, 10], (8, 1)))


@pytest.mark.parametrize(("count", "known"), [(8, True), (7, False), (9, False)])
def test_colours_of_a_glb_are_read_where_every_corner_has_one(count, known):
    description, numbers = glb_parts(MESH)
    description["meshes"][0]["primitives"][0]["attributes"]["COLOR_0"] = 2
    description["accessors"].append({"bufferView": 2, "componentType": 5121, "count": count, "type": "VEC4"})
    description["bufferViews"].append({"buffer": 0, "byteOffset": len(numbers), "byteLength": 32})
    seen_through = np.full((8, 1), 255, dtype=np.uint8)
    raw = read(glb_of(description, numbers + np.concatenate([COLOURS, seen_through], axis=1).tobytes()))
    assert np.array_equal(raw.colours, COLOURS) if known else raw.colours is None
    assert_array_equal(raw.faces, MESH.faces)


def test_corners_that_are_left_out_take_their_colours_with_them():
    vertices = np.concatenate([[[np.nan, 0, 0]], MESH.vertices_mm])
    raw = checked(RawMesh(vertices, MESH.faces + 1, colours=np.r_[COLOURS[:1], COLOURS]), "fence_clip.ply", LIMITS)
    assert_array_equal(raw.colours, COLOURS)
    assert_array_equal(raw.vertices, MESH.vertices_mm)


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -0.2, 300.0, 1e30])
def test_what_is_no_colour_is_left_out_and_the_part_is_read(wrong):
    colours = COLOURS.astype(float)
    colours[3, 1] = wrong * 255
    raw = read(coloured_ply("binary_little_endian", "float", colours))
    assert raw.colours is None
    assert_array_equal(raw.vertices, MESH.vertices_mm)
    assert_array_equal(raw.faces, MESH.faces)


def test_colours_that_some_corners_lack_are_left_out():
    lines = obj(MESH).decode().splitlines()
    lines[2] += " 0.5 0.5 0.5"
    raw = read("\n".join([*lines, ""]).encode(), "fence_clip.obj")
    assert raw.colours is None
    assert_array_equal(raw.vertices, MESH.vertices_mm)
