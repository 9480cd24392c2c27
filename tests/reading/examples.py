"""Small parts, and plain writers of every format that share no code with the readers."""

import io
import json
import struct
import zipfile

import numpy as np

from tests.made_up_rules import READING, made_up_rules
from verifier.mesh import Mesh
from verifier.rulebook import Sheet
from verifier.rulebook.rules import Rules

# Small enough that a test runs into them.
SMALL = {"max_file_bytes": 50_000_000, "max_triangles": 200_000, "max_unpacked_bytes": 50_000_000}
LIMITS = READING.model_copy(update=SMALL)


def rules(**limits) -> Rules:
    """Rules with these reading limits."""
    return made_up_rules(reading=SMALL | limits)


def sheet(**given) -> Sheet:
    """A sheet of the latch lever."""
    return Sheet.model_validate({"part": "latch_lever", **given})


def overall(length_mm, **given) -> Sheet:
    """A sheet whose one size is the length over all."""
    return sheet(size=[{"name": "length", "kind": "overall", "reading": length_mm}], **given)


def box(x=84.0, y=22.0, z=9.0, scale=1.0) -> Mesh:
    """A closed box about the origin, whose numbers 32-bit floats hold exactly."""
    corners = np.array([[i, j, k] for i in (0, 1) for j in (0, 1) for k in (0, 1)], dtype=float) - 0.5
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    faces = [half for a, b, c, d in quads for half in ((a, b, c), (a, c, d))]
    return Mesh(corners * [x, y, z] * scale, np.array(faces))


def ring(around=24, across=12, radius=40.0, thick=15.0) -> Mesh:
    """A closed ring of 2 x around x across faces, numbers as 32-bit floats hold them."""
    u, v = np.meshgrid(*(np.linspace(0, 2 * np.pi, n, endpoint=False) for n in (around, across)), indexing="ij")
    reach = radius + thick * np.cos(v)
    corners = np.stack([reach * np.cos(u), reach * np.sin(u), thick * np.sin(v)], axis=-1).reshape(-1, 3)
    a = np.arange(around * across).reshape(around, across)
    b, d = np.roll(a, -1, 0), np.roll(a, -1, 1)
    c = np.roll(b, -1, 1)
    faces = np.concatenate([np.stack(three, axis=-1).reshape(-1, 3) for three in ((a, b, c), (a, c, d))])
    return Mesh(corners.astype(np.float32).astype(float), faces)


def stl_binary(mesh: Mesh, header: bytes = b"latch lever", count: int | None = None) -> bytes:
    records = b"".join(struct.pack("<12fH", 0, 0, 0, *corners.ravel(), 0) for corners in mesh.corners_mm)
    return header.ljust(80, b"\0") + struct.pack("<I", len(mesh.faces) if count is None else count) + records


def stl_text(mesh: Mesh, name: str = "latch_lever") -> bytes:
    lines = [f"solid {name}"]
    for corners in mesh.corners_mm:
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x:.16e} {y:.16e} {z:.16e}" for x, y, z in corners]
        lines += ["    endloop", "  endfacet"]
    return "\n".join([*lines, f"endsolid {name}", ""]).encode()


def ply_header(form: str, points: int, faces: int, kind: str = "float", extra: str = "") -> bytes:
    axes = "".join(f"property {kind} {axis}\n" for axis in "xyz")
    return (
        f"ply\nformat {form} 1.0\ncomment fence clip\nelement vertex {points}\n{axes}{extra}"
        f"element face {faces}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()


def ply_text(mesh: Mesh) -> bytes:
    corners = "".join(f"{x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices_mm.tolist())
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in mesh.faces)
    return ply_header("ascii", len(mesh.vertices_mm), len(mesh.faces), "double") + (corners + faces).encode()


def ply_binary(mesh: Mesh, order: str = "<") -> bytes:
    form = {"<": "binary_little_endian", ">": "binary_big_endian"}[order]
    body = b"".join(struct.pack(f"{order}3f", *corner) for corner in mesh.vertices_mm)
    body += b"".join(struct.pack(f"{order}B3i", 3, *face) for face in mesh.faces)
    return ply_header(form, len(mesh.vertices_mm), len(mesh.faces)) + body


def obj(mesh: Mesh) -> bytes:
    corners = "".join(f"v {x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices_mm.tolist())
    return (corners + "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in mesh.faces)).encode()


def off(mesh: Mesh) -> bytes:
    corners = "".join(f"{x!r} {y!r} {z!r}\n" for x, y, z in mesh.vertices_mm.tolist())
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in mesh.faces)
    return f"OFF\n{len(mesh.vertices_mm)} {len(mesh.faces)} 0\n{corners}{faces}".encode()


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
RELS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="r" '
    'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel" Target="/3D/3dmodel.model"/></Relationships>'
)


def mesh_xml(mesh: Mesh) -> str:
    corners = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in mesh.vertices_mm.tolist())
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    return f"<mesh><vertices>{corners}</vertices><triangles>{faces}</triangles></mesh>"


def object_xml(number: int, inside: str, kind: str = "model") -> str:
    return f'<object id="{number}" type="{kind}">{inside}</object>'


def model_xml(objects: str, items: str = '<item objectid="1"/>', attributes: str = 'unit="millimeter"') -> str:
    return f'<model xmlns="{CORE}" {attributes}><resources>{objects}</resources><build>{items}</build></model>'


def package(model: str | bytes, **parts: bytes) -> bytes:
    """A 3MF package; further parts by name."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("_rels/.rels", RELS)
        file.writestr("3D/3dmodel.model", model)
        for name, data in parts.items():
            file.writestr(name, data)
    return packed.getvalue()


def three_mf(mesh: Mesh, attributes: str = 'unit="millimeter"') -> bytes:
    return package(model_xml(object_xml(1, mesh_xml(mesh)), attributes=attributes))


def glb_of(description: dict, numbers: bytes) -> bytes:
    """A GLB container about a description and its numbers."""
    text = json.dumps({"asset": {"version": "2.0"}, **description}).encode()
    text += b" " * (-len(text) % 4)
    numbers += b"\0" * (-len(numbers) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text + struct.pack("<I4s", len(numbers), b"BIN\0") + numbers
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


# Of the numbers of corners in a GLB file: 5123 for two bytes, 5125 for four.
GLB_INDEX = {"<u2": 5123, "<u4": 5125}


def glb_parts(mesh: Mesh, index: str = "<u2") -> tuple[dict, bytes]:
    """Description and numbers of one mesh in one node, its numbers taken as metres; index : a key of GLB_INDEX."""
    corners, faces = mesh.vertices_mm.astype("<f4").tobytes(), mesh.faces.astype(index).tobytes()
    description = {
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(mesh.vertices_mm), "type": "VEC3"},
            {"bufferView": 1, "componentType": GLB_INDEX[index], "count": mesh.faces.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteLength": len(corners)},
            {"buffer": 0, "byteOffset": len(corners), "byteLength": len(faces)},
        ],
        "buffers": [{"byteLength": len(corners) + len(faces)}],
    }
    return description, corners + faces


def glb(mesh: Mesh) -> bytes:
    return glb_of(*glb_parts(mesh))


WRITERS = {
    "latch_lever.stl": stl_binary,
    "latch_lever.text.stl": stl_text,
    "latch_lever.text.ply": ply_text,
    "latch_lever.ply": ply_binary,
    "latch_lever.big.ply": lambda mesh: ply_binary(mesh, ">"),
    "latch_lever.obj": obj,
    "latch_lever.off": off,
    "latch_lever.3mf": three_mf,
    "latch_lever.glb": glb,
}
