"""The part as a picture without a screen: lit faces, the nearest in front, edges as a draughtsman draws them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.mending.solid import Origin
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals
from verifier.reporting.shown import JOINED, ShownMesh

# The same paints, light and textures as the page's own picture has (solid_view.js).
PAINT: dict[int, tuple[int, int, int]] = {
    Origin.MEASURED: (214, 211, 203),
    Origin.FILLED: (228, 138, 20),
    Origin.REBUILT: (58, 132, 200),
    JOINED: (118, 70, 134),
}
LIGHT = np.array((-0.36, 0.48, 0.8))
AMBIENT, TEXTURED = 0.4, 0.66
OUTLINE = (60, 66, 64)
# Faces that meet at more than about 37 degrees meet at an edge and are not shaded as if it were round.
ROUND_COSINE = 0.8
# A fall in depth of more than this share of the part's half diagonal is an edge that stands out.
OUTLINE_FALL = 0.02
# Fragments worked out at once: 64 MB of arrays at most, whatever the picture's size.
AT_ONCE = 1_000_000


@dataclass(frozen=True, slots=True)
class View:
    """From where the part is seen.

    turn : (3, 3) rotation: rows point across, up, and towards the eye
    middle_mm : (3,) the point of the part that lies in the picture's middle
    scale : picture points a millimetre
    """

    turn: Array
    middle_mm: Array
    scale: float
    width: int
    height: int

    def seen(self, points_mm: Array) -> Array:
        """Points (n, 3) as across and down in picture points and the depth in mm towards the eye, (n, 3)."""
        across, up, depth = ((points_mm - self.middle_mm) @ self.turn.T).T
        return np.column_stack((self.width / 2 + self.scale * across, self.height / 2 - self.scale * up, depth))


def view_of(shown: ShownMesh, turn: Array, width: int, height: int, margin: int) -> View:
    """The view under this turn that shows the whole part, `margin` points away from the picture's edges."""
    points = shown.vertices_mm.astype(np.float64)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    across, up, _ = np.abs((points - middle) @ turn.T).max(axis=0)
    scale = min((width / 2 - margin) / max(across, 1e-6), (height / 2 - margin) / max(up, 1e-6))
    return View(turn, middle, float(scale), width, height)


@dataclass(frozen=True, slots=True)
class Rendered:
    """A picture of a part.

    pixels : (height, width, 3) uint8, white where there is nothing
    depth_mm : (height, width) float32 towards the eye; -inf where there is nothing
    """

    pixels: NDArray[np.uint8]
    depth_mm: NDArray[np.float32]


def rendered(shown: ShownMesh, view: View, grain: int = 3, paints: IntArray | None = None) -> Rendered:
    """Draw the part's faces that look at the eye, the nearest in front.

    grain : picture points of one step of the textures on filled and rebuilt surface
    paints : (k, 3) red, green and blue where the faces' marks are numbers of these, and nothing is textured
    """
    seen = view.seen(shown.vertices_mm.astype(np.float64)).astype(np.float32)
    depth = np.full(view.height * view.width, -np.inf, dtype=np.float32)
    nearest = np.full(view.height * view.width, -1, dtype=np.int64)
    towards = np.flatnonzero(_twice_area(seen[shown.faces]) > 0)
    for some in _portions(seen[shown.faces[towards]], view):
        _lay(seen, shown.faces, towards[some], view, depth, nearest)
    pixels = _painted(shown, view, nearest, grain, paints)
    lying_mm = depth.reshape(view.height, view.width)
    pixels[_outlines(lying_mm, OUTLINE_FALL * _half_diagonal_mm(shown))] = OUTLINE
    return Rendered(pixels, lying_mm)


def _twice_area(corners: NDArray[np.float32]) -> NDArray[np.float32]:
    """Positive where a face looks at the eye: the picture's second axis points down."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    return (c[:, 0] - a[:, 0]) * (b[:, 1] - a[:, 1]) - (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1])


def _box(corners: NDArray[np.float32], view: View) -> tuple[IntArray, IntArray]:
    """First picture point of each face's box, (m, 2), and how many points it has each way, (m, 2)."""
    last = np.array((view.width - 1, view.height - 1))
    first = np.maximum(np.ceil(corners[..., :2].min(axis=1)), 0).astype(np.int64)
    end = np.minimum(np.floor(corners[..., :2].max(axis=1)), last).astype(np.int64)
    return first, np.maximum(end - first + 1, 0)


def _portions(corners: NDArray[np.float32], view: View) -> list[IntArray]:
    """The faces in portions of about AT_ONCE picture points each."""
    points = np.cumsum(_box(corners, view)[1].prod(axis=1))
    cuts = np.searchsorted(points, np.arange(AT_ONCE, points[-1] if len(points) else 0, AT_ONCE))
    return np.split(np.arange(len(corners)), cuts)


def _lay(
    seen: NDArray[np.float32],
    faces: NDArray[np.int32],
    some: IntArray,
    view: View,
    depth: NDArray[np.float32],
    nearest: IntArray,
) -> None:
    """Lay some faces over the picture so far, bringing `depth` and `nearest` up to date, one entry a picture point."""
    corners = seen[faces[some]]
    first, counts = _box(corners, view)
    face, column, row = _points_of(first, counts)
    x, y = (column - first[face, 0]).astype(np.float32), (row - first[face, 1]).astype(np.float32)
    corners[..., :2] -= first[:, None]
    of_b, of_c, z = (constant[face] + across[face] * x + down[face] * y for constant, across, down in _linear(corners))
    inside = (of_b >= 0) & (of_c >= 0) & (of_b + of_c <= 1)
    z = z[inside]
    at = (row * view.width + column)[inside]
    np.maximum.at(depth, at, z)
    in_front = z == depth[at]
    nearest[at[in_front]] = some[face[inside]][in_front]


def _linear(corners: NDArray[np.float32]) -> NDArray[np.float32]:
    """Shares of corners b and c at a picture point of each face, and its depth: constant, for x and for y, (3, 3, m).

    corners : (m, 3, 3) across, down and depth of the faces' three corners, from where x and y are counted
    """
    (ax, ay, az), (bx, by, bz), (cx, cy, cz) = (corners[:, k].T for k in range(3))
    area = _twice_area(corners)
    of_b = np.stack([(ax * cy - ay * cx), (ay - cy), (cx - ax)]) / area
    of_c = np.stack([(ay * bx - ax * by), (by - ay), (ax - bx)]) / area
    depth = of_b * (bz - az) + of_c * (cz - az)
    depth[0] += az
    return np.stack([of_b, of_c, depth])


def _points_of(first: IntArray, counts: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Every picture point of every box: the box it is of, across and down."""
    many = counts.prod(axis=1)
    face = np.repeat(np.arange(len(first)), many)
    within = np.arange(len(face)) - np.repeat(np.cumsum(many) - many, many)
    wide = counts[face, 0]
    return face, first[face, 0] + within % wide, first[face, 1] + within // wide


def _painted(shown: ShownMesh, view: View, nearest: IntArray, grain: int, paints: IntArray | None) -> NDArray[np.uint8]:
    """Paint of the face in front of every picture point, by its light and its texture."""
    pixels = np.full((len(nearest), 3), 255, dtype=np.uint8)
    (at,) = np.nonzero(nearest >= 0)
    mesh = Mesh(shown.vertices_mm.astype(np.float64), shown.faces.astype(np.int64))
    light = AMBIENT + (1 - AMBIENT) * np.maximum(_rounded_normals(mesh) @ view.turn.T @ LIGHT, 0)
    paint = np.array([PAINT[origin] for origin in sorted(PAINT)]) if paints is None else paints
    front = nearest[at]
    shade = light[front]
    if paints is None:
        dark = _texture(shown.origin[front], at % view.width, at // view.width, grain)
        shade = shade * np.where(dark, TEXTURED, 1.0)
    pixels[at] = (paint[shown.origin[front]] * shade[:, None]).astype(np.uint8)
    return pixels.reshape(view.height, view.width, 3)


def _rounded_normals(mesh: Mesh) -> Array:
    """Normals of the faces (m, 3), evened out with their neighbours' where the surface is round, not over an edge."""
    own = face_normals(mesh)
    at, count = mesh.faces.T.ravel(), len(mesh.vertices_mm)
    corners = np.column_stack([np.bincount(at, np.tile(column, 3), count) for column in own.T])
    corners = corners / np.maximum(np.linalg.norm(corners, axis=1, keepdims=True), 1e-12)
    about = corners[mesh.faces]
    round_ = np.einsum("mkj,mj->mk", about, own) > ROUND_COSINE
    summed = own + (about * round_[..., None]).sum(axis=1)
    return np.asarray(summed / np.maximum(np.linalg.norm(summed, axis=1, keepdims=True), 1e-12))


def _texture(origin: NDArray[np.uint8], x: IntArray, y: IntArray, grain: int) -> BoolArray:
    """Dark points: none on measured surface, slanting stripes on filled, dots on rebuilt, upright bars on a seam."""
    stripes = (x + y) // grain % 3 == 0
    dots = (x // grain % 3 == 0) & (y // grain % 3 == 0)
    bars = x // grain % 2 == 0
    of = ((Origin.FILLED, stripes), (Origin.REBUILT, dots), (JOINED, bars))
    return np.asarray(np.any([(origin == kind) & dark for kind, dark in of], axis=0))


def _outlines(depth_mm: NDArray[np.float32], fall_mm: float) -> BoolArray:
    """Points beside a fall of more than `fall_mm`, on the side nearer the eye."""
    dark = np.zeros(depth_mm.shape, dtype=bool)
    with np.errstate(invalid="ignore"):  # nothing beside nothing: -inf less -inf
        across, down = np.diff(depth_mm, axis=1), np.diff(depth_mm, axis=0)
    dark[:, :-1] |= across < -fall_mm
    dark[:, 1:] |= across > fall_mm
    dark[:-1] |= down < -fall_mm
    dark[1:] |= down > fall_mm
    return dark


def _half_diagonal_mm(shown: ShownMesh) -> float:
    return float(np.linalg.norm(np.ptp(shown.vertices_mm, axis=0)) / 2)
