"""Meshes of one file put in their places and joined, for formats that build a scene out of parts."""

import numpy as np

from verifier.errors import TooLarge
from verifier.mesh import Array, IntArray
from verifier.reading.polygons import too_many_corners, too_many_triangles
from verifier.rulebook.rules import Reading

# Corners (n, 3) and the faces over them (m, 3).
Piece = tuple[Array, IntArray]
IDENTITY: Array = np.eye(4)


def too_many_objects(limit: int, where: str) -> TooLarge:
    """The refusal of a file whose few objects stand for a great many."""
    what = f"its objects come to more than {limit:,} once put together"
    return TooLarge(what, where=where, do="Export the part alone")


def moved(piece: Piece, transform: Array) -> Piece:
    """A piece in its place; a mirroring transform turns the faces over, so that they look outwards again.

    transform : (4, 4), acts on row vectors, its last row the shift
    """
    vertices, faces = piece
    if (transform == IDENTITY).all():
        return piece
    if np.linalg.det(transform[:3, :3]) < 0:
        faces = faces[:, ::-1]
    with np.errstate(over="ignore", invalid="ignore"):  # beyond any part; refused with the other impossible corners
        return vertices @ transform[:3, :3] + transform[3, :3], faces


def joined(pieces: list[Piece]) -> Piece:
    """All pieces over one list of corners; a corner number out of its piece's range stays out of range."""
    if len(pieces) == 1:
        return pieces[0]
    all_faces, shift = [], 0
    for vertices, faces in pieces:
        inside = (faces >= 0) & (faces < len(vertices))
        all_faces.append(np.where(inside, faces + shift, -1))
        shift += len(vertices)
    return np.concatenate([vertices for vertices, _ in pieces]), np.concatenate(all_faces)


class Amounts:
    """Counts what instances come to, before they are made."""

    def __init__(self, limits: Reading, where: str) -> None:
        self._limits, self._where = limits, where
        self._corners = self._triangles = 0

    def add(self, corners: int, triangles: int) -> None:
        """Count one more instance; raises TooLarge beyond the limits."""
        self._corners += corners
        self._triangles += triangles
        if self._triangles > self._limits.max_triangles:
            raise too_many_triangles(self._triangles, self._limits.max_triangles, self._where)
        if self._corners > 3 * self._limits.max_triangles:
            raise too_many_corners(self._corners, self._limits.max_triangles, self._where)
