"""The colours of a PLY file, of its corners or, where these have none, of its triangles."""

import numpy as np

from verifier.mesh import IntArray
from verifier.reading.colours import Colours, as_colours, at_corners
from verifier.reading.ply_header import Header
from verifier.reading.ply_rows import Rows

CHANNELS = ("red", "green", "blue")
# What stands for full light in each type of number; a float reaches to 1 or to 255.
MOST = {"f4": None, "f8": None, "u2": 65535.0}


def ply_colours(header: Header, rows: dict[str, Rows], faces: IntArray | None, corners: int) -> Colours | None:
    """Colours of all corners, (n, 3); None where the file has none.

    faces : (m, 3), all of corners that exist; None where the file's faces are no triangles
    """
    found = _of_element("vertex", header, rows)
    if found is not None:
        return found
    of_faces = _of_element("face", header, rows)
    return None if of_faces is None or faces is None else at_corners(of_faces, faces, corners)


def _of_element(name: str, header: Header, rows: dict[str, Rows]) -> Colours | None:
    codes = {column.name: column.code for element in header.elements if element.name == name
             for column in element.properties}  # fmt: skip
    numbers = rows[name].numbers if name in rows else {}
    if not all(channel in numbers for channel in CHANNELS):
        return None
    most = {MOST.get(codes[channel], 255.0) for channel in CHANNELS}
    if len(most) > 1:
        return None
    return as_colours(np.column_stack([numbers[channel] for channel in CHANNELS]), most.pop())
