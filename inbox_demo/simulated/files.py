"""The formats an export comes in, written without the verifier's own writers."""

from __future__ import annotations

import io
import zipfile

import numpy as np

from inbox_demo.simulated.distances import Array, Faces


def stl_bytes(vertices: Array, faces: Faces) -> bytes:
    """Binary STL, corners not shared."""
    record = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corner", "<f4", (3, 3)), ("attribute", "<u2")])
    record["corner"] = vertices[faces]
    return b"solid exported".ljust(80) + np.uint32(len(faces)).tobytes() + record.tobytes()


def ply_bytes(vertices: Array, faces: Faces) -> bytes:
    """Little-endian PLY."""
    header = (
        f"ply\nformat binary_little_endian 1.0\nelement vertex {len(vertices)}\n"
        "property float x\nproperty float y\nproperty float z\n"
        f"element face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    record = np.empty(len(faces), dtype=[("n", "u1"), ("corner", "<i4", 3)])
    record["n"], record["corner"] = 3, faces
    return header.encode() + vertices.astype("<f4").tobytes() + record.tobytes()


def obj_bytes(vertices: Array, faces: Faces, digits: int = 6) -> bytes:
    """Text OBJ."""
    points = "\n".join(f"v {x:.{digits}f} {y:.{digits}f} {z:.{digits}f}" for x, y, z in vertices)
    triangles = "\n".join(f"f {a} {b} {c}" for a, b, c in faces + 1)
    return f"{points}\n{triangles}\n".encode()


def three_mf_bytes(vertices: Array, faces: Faces) -> bytes:
    """3MF in millimetres."""
    points = "".join(f'<vertex x="{x:.5f}" y="{y:.5f}" z="{z:.5f}"/>' for x, y, z in vertices)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    model = (
        '<?xml version="1.0" encoding="UTF-8"?><model unit="millimeter" '
        'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
        '<object id="1" type="model"><mesh>'
        f"<vertices>{points}</vertices><triangles>{triangles}</triangles></mesh></object></resources>"
        '<build><item objectid="1"/></build></model>'
    )
    types = (
        '<?xml version="1.0" encoding="UTF-8"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
        '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
        '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>'
    )
    relations = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
        '<Relationship Target="/3D/3dmodel.model" Id="rel0" '
        'Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
    )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in (("[Content_Types].xml", types), ("_rels/.rels", relations), ("3D/3dmodel.model", model)):
            archive.writestr(zipfile.ZipInfo(name, (2020, 1, 1, 0, 0, 0)), text, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
