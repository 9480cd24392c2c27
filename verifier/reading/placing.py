"""Meshes of one file put in their places and joined, for formats that build a scene out of parts."""

import numpy as np

from verifier.errors import TooLarge
from verifier.mesh import Array, IntArray
from verifier.reading.polygons import too_many_corners, too_many_triangles
from verifier.rulebook.rules import Reading

# Corners (n, 3) and the faces over them (m, 3).
Piece = tuple[Array, IntArray]
IDENTITY: Array = np.eye(4)
# A triangle takes at least 3.75 bytes of a packed 3MF (a level grid of whole numbers; a scan fifteen), and twelve of a
# GLB: a large file may place a scan four times over. Some hundred bytes could else stand for twenty million triangles.
AT_ALL_EVENTS, LEAST_BYTES = 1_000_000, 3


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
    vertices = np.empty((sum(len(corners) for corners, _ in pieces), 3))
    faces = np.empty((sum(len(triangles) for _, triangles in pieces), 3), dtype=np.int64)
    corner = triangle = 0
    for some, over in pieces:
        vertices[corner : corner + len(some)] = some
        faces[triangle : triangle + len(over)] = np.where((over >= 0) & (over < len(some)), over + corner, -1)
        corner, triangle = corner + len(some), triangle + len(over)
    return vertices, faces


class Amounts:
    """Counts what instances come to, before they are made.

    file_bytes : what they come out of
    """

    def __init__(self, limits: Reading, file_bytes: int, where: str) -> None:
        self._limits, self._where = limits, where
        self._at_most = max(AT_ALL_EVENTS, file_bytes // LEAST_BYTES)
        self._corners = self._triangles = 0

    def add(self, corners: int, triangles: int) -> None:
        """Count one more instance; raises TooLarge beyond the limits."""
        self._corners += corners
        self._triangles += triangles
        if self._triangles > self._limits.max_triangles:
            raise too_many_triangles(self._triangles, self._limits.max_triangles, self._where)
        if self._corners > 3 * self._limits.max_triangles:
            raise too_many_corners(self._corners, self._limits.max_triangles, self._where)
        if max(self._corners, self._triangles) > self._at_most:
            what = f"its objects come to {self._triangles:,} triangles over {self._corners:,} corners once put together"
            raise TooLarge(
                f"{what}, far more than a file of its size holds", where=self._where, do="Export the part alone"
            )
