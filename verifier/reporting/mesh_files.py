"""A mesh as the bytes of a file: 3MF to print, binary STL for whatever reads nothing else."""

import zipfile
from collections.abc import Iterable, Iterator
from io import BytesIO
from xml.sax.saxutils import quoteattr

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import Array, Mesh, face_normals

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
CONTENT_TYPES = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>\n'
)
RELATIONSHIPS = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="model" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel" '
    'Target="/3D/3dmodel.model"/></Relationships>\n'
)
MODEL = "3D/3dmodel.model"
# Text of one million triangles is 75 MB: level 1 packs it in a third of level 6's time to 1.3 times its size.
PACKING_LEVEL = 1
# Rows are written this many at a time, so that their text does not pile up.
CHUNK_ROWS = 65_536
# Nine digits bring every 32-bit number back exactly, seventeen every 64-bit one (IEEE 754-2019, 5.12.2).
DIGITS_32, DIGITS_64 = 9, 17

STL_RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
STL_HEADER_BYTES = 80


def three_mf_bytes(mesh: Mesh, name: str) -> bytes:
    """The mesh as a 3MF package (core specification 1.4.0): one object, millimetres, shared corners.

    name : the object's name
    Corners that differ stay different: they are written as 32-bit numbers where these tell them apart (a step of
    8e-6 mm at 100 mm), and with all digits where not, so that a seam split on purpose is not welded by the file.
    The bytes depend on the mesh and the name alone.
    """
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED, compresslevel=PACKING_LEVEL) as package:
        _add(package, "[Content_Types].xml", [CONTENT_TYPES])
        _add(package, "_rels/.rels", [RELATIONSHIPS])
        _add(package, MODEL, _model(mesh, name))
    return packed.getvalue()


def stl_bytes(mesh: Mesh, header: str = "") -> bytes:
    """The mesh as a binary STL in millimetres.

    header : what the first 80 bytes say; beyond ASCII and beyond 80 it is cut
    A header that begins with 'solid' gets a blank before it, since careless readers take that for the text form.
    """
    said = header.encode("ascii", "replace")
    said = b" " + said if said.lower().startswith(b"solid") else said
    records = np.zeros(len(mesh.faces), dtype=STL_RECORD)
    records["normal"] = face_normals(mesh)
    records["corners"] = mesh.corners_mm
    return said[:STL_HEADER_BYTES].ljust(STL_HEADER_BYTES) + np.uint32(len(records)).tobytes() + records.tobytes()


def _add(package: zipfile.ZipFile, part: str, texts: Iterable[str]) -> None:
    """Write a part as its text comes; a part opened by its name gets the zip's earliest date, and no clock is read."""
    with package.open(part, "w") as file:
        for text in texts:
            file.write(text.encode())


def _model(mesh: Mesh, name: str) -> Iterator[str]:
    yield f'<?xml version="1.0" encoding="UTF-8"?>\n<model unit="millimeter" xml:lang="en-US" xmlns="{CORE}">\n'
    yield f'<resources>\n<object id="1" type="model" name={quoteattr(_allowed(name))}>\n<mesh>\n<vertices>\n'
    corners, digits = corners_of_three_mf(mesh)
    yield from _rows(corners, f'<vertex x="%.{digits}g" y="%.{digits}g" z="%.{digits}g"/>\n')
    yield "</vertices>\n<triangles>\n"
    yield from _rows(mesh.faces, '<triangle v1="%d" v2="%d" v3="%d"/>\n')
    yield '</triangles>\n</mesh>\n</object>\n</resources>\n<build>\n<item objectid="1"/>\n</build>\n</model>\n'


def _allowed(name: str) -> str:
    """The name without what XML 1.0 cannot hold."""
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in name)


def _rows(table: NDArray[np.generic], row: str) -> Iterator[str]:
    """Each row of the table through the same pattern, many rows in one call."""
    for start in range(0, len(table), CHUNK_ROWS):
        part = table[start : start + CHUNK_ROWS]
        yield row * len(part) % tuple(part.ravel().tolist())


def corners_of_three_mf(mesh: Mesh) -> tuple[Array, int]:
    """The corners in the shortest numbers that keep them apart, and the digits these need."""
    short = mesh.vertices_mm.astype(np.float32) + np.float32(0)  # a minus zero is a zero: both read as one place
    if _distinct_rows(short.view(np.uint32)):
        return short.astype(np.float64), DIGITS_32
    return mesh.vertices_mm, DIGITS_64


def _distinct_rows(rows: NDArray[np.uint32]) -> bool:
    """Whether all rows surely differ, by a 64-bit mark of each; equal marks count as equal rows."""
    wide = rows.astype(np.uint64)
    marks = wide[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    for column in (1, 2):
        marks = (marks ^ (marks >> np.uint64(29)) ^ wide[:, column]) * np.uint64(0xBF58476D1CE4E5B9)
    marks = np.sort(marks ^ (marks >> np.uint64(32)))
    return not bool((marks[1:] == marks[:-1]).any())
