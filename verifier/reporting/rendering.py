"""The part as a picture without a screen: lit faces, the nearest in front, edges as a draughtsman draws them."""

from dataclasses import dataclass
from itertools import pairwise

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


def rendered(
    shown: ShownMesh, view: View, grain: int = 3, paints: IntArray | None = None, normals: Array | None = None
) -> Rendered:
    """Draw the part's faces that look at the eye, the nearest in front.

    grain : picture points of one step of the textures on filled and rebuilt surface
    normals : (m, 3) `rounded_normals` of the part, where they are known already
    paints : (k, 3) red, green and blue where the faces' marks are numbers of these, and nothing is textured
    """
    seen = view.seen(shown.vertices_mm.astype(np.float64)).T.astype(np.float32)
    corners = np.take(seen, shown.faces.T, axis=1)
    towards = np.flatnonzero(_twice_area(corners) > 0).astype(np.int32)
    corners = np.take(corners, towards, axis=2)
    depth = np.full(view.height * view.width, -np.inf, dtype=np.float32)
    nearest = np.full(view.height * view.width, -1, dtype=np.int32)
    for some in _portions(corners, view):
        _lay(corners[..., some], towards[some], view, depth, nearest)
    normals = rounded_normals(shown) if normals is None else normals
    light = AMBIENT + (1 - AMBIENT) * np.maximum(normals @ view.turn.T @ LIGHT, 0)
    pixels = _painted(shown, light, view, nearest, grain, paints)
    lying_mm = depth.reshape(view.height, view.width)
    pixels[_outlines(lying_mm, OUTLINE_FALL * _half_diagonal_mm(shown))] = OUTLINE
    return Rendered(pixels, lying_mm)


def _twice_area(corners: NDArray[np.float32]) -> NDArray[np.float32]:
    """Positive where a face looks at the eye: the picture's second axis points down. corners : see `_lay`."""
    (ax, bx, cx), (ay, by, cy), _ = corners
    return np.asarray((cx - ax) * (by - ay) - (bx - ax) * (cy - ay))


def _portions(corners: NDArray[np.float32], view: View) -> list[slice]:
    """The faces in portions of about AT_ONCE picture points each."""
    wide, high = (
        np.minimum(axis.max(axis=0) - axis.min(axis=0) + 1, most)
        for axis, most in zip(corners[:2], (view.width, view.height), strict=True)
    )
    points = np.cumsum(wide * high)
    ends = np.arange(AT_ONCE, points[-1] if len(points) else 0, AT_ONCE)
    cuts = [0, *np.searchsorted(points, ends), len(points)]
    return [slice(*ends) for ends in pairwise(cuts)]


def _lay(
    corners: NDArray[np.float32],
    faces: NDArray[np.int32],
    view: View,
    depth: NDArray[np.float32],
    nearest: NDArray[np.int32],
) -> None:
    """Lay some faces over the picture so far, bringing `depth` and `nearest` up to date, one entry a picture point.

    corners : (3, 3, m) across, down and depth, each of the first, second and third corners; faces : (m,) their numbers
    """
    runs = _runs_of(corners, view)
    run, along = _counted_through(runs.count)
    at = runs.start[run] + along
    z = runs.depth_mm[run] + runs.rise_mm[run] * along.astype(np.float32)
    np.maximum.at(depth, at, z)
    in_front = np.flatnonzero(z == depth[at])
    nearest[at[in_front]] = faces[runs.face[run[in_front]]]


@dataclass(frozen=True, slots=True)
class _Runs:
    """Picture points side by side, each run within one face and one row.

    face : (k,) place of the face
    start : (k,) the first point, counted through the picture row by row; count : (k,) how many
    depth_mm, rise_mm : (k,) depth of the first point, and what it gains from one point to the next
    """

    face: NDArray[np.int32]
    start: NDArray[np.int32]
    count: NDArray[np.int32]
    depth_mm: NDArray[np.float32]
    rise_mm: NDArray[np.float32]


def _runs_of(corners: NDArray[np.float32], view: View) -> _Runs:
    """The runs of faces, each cut in two by the row of its middle corner: either part lies between two of its sides.

    Where a row meets a side is reckoned from the side's upper end, so that the faces on either hand leave no gap.
    """
    x, y, z = _from_above(corners)
    rows = np.clip([np.ceil(y[0]), np.ceil(y[1]), np.floor(y[2]) + 1], 0, view.height).astype(np.int32)
    part, down = _counted_through(np.maximum(rows[1:] - rows[:2], 0).ravel())
    row = (rows[:2].ravel()[part] + down).astype(np.float32)
    face = part % np.int32(x.shape[1])
    met = x[0][face] + (row - y[0][face]) * _lean(x, y, 0, 2)[face]
    short = np.concatenate([_lean(x, y, 0, 1), _lean(x, y, 1, 2)])
    also_met = x[:2].ravel()[part] + (row - y[:2].ravel()[part]) * short[part]
    first = np.maximum(np.ceil(np.minimum(met, also_met)), 0)
    count = np.minimum(np.floor(np.maximum(met, also_met)), view.width - 1) - first + 1
    some = np.flatnonzero(count > 0)
    face, row, first = face[some], row[some], first[some]
    rise, fall = _slopes(x, y, z)
    depth_mm = z[0][face] + rise[face] * (first - x[0][face]) + fall[face] * (row - y[0][face])
    # Over a sliver the slopes are large, and a point that rounding puts beside it would stand out.
    depth_mm = np.clip(depth_mm, z.min(axis=0)[face], z.max(axis=0)[face])
    start = row.astype(np.int32) * view.width + first.astype(np.int32)
    return _Runs(face, start, count[some].astype(np.int32), depth_mm, rise[face])


def _from_above(corners: NDArray[np.float32]) -> NDArray[np.float32]:
    """The faces' corners, each face's uppermost first and lowest last."""
    sorted_ = corners.copy()
    for a, b in ((0, 1), (1, 2), (0, 1)):
        wrong = np.flatnonzero(sorted_[1, a] > sorted_[1, b])
        sorted_[:, a, wrong], sorted_[:, b, wrong] = sorted_[:, b, wrong], sorted_[:, a, wrong]
    return sorted_


def _counted_through(counts: NDArray[np.int32]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Each place as often as it counts, and which time that is, from nought."""
    place = np.repeat(np.arange(len(counts), dtype=np.int32), counts)
    before = np.cumsum(counts, dtype=np.int32) - counts
    return place, np.arange(len(place), dtype=np.int32) - before[place]


def _lean(x: NDArray[np.float32], y: NDArray[np.float32], a: int, b: int) -> NDArray[np.float32]:
    """How far the side from corner a to corner b goes across with each row; nought for a level one."""
    down = y[b] - y[a]
    return np.asarray(np.divide(x[b] - x[a], down, out=np.zeros_like(down), where=down > 0))


def _slopes(
    x: NDArray[np.float32], y: NDArray[np.float32], z: NDArray[np.float32]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """What the depth of faces gains with a step across and with a step down, (m,) each."""
    bx, by, bz, cx, cy, cz = x[1] - x[0], y[1] - y[0], z[1] - z[0], x[2] - x[0], y[2] - y[0], z[2] - z[0]
    area = bx * cy - cx * by
    across, down = (
        np.divide(rise, area, out=np.zeros_like(area), where=area != 0)
        for rise in (bz * cy - cz * by, cz * bx - bz * cx)
    )
    return across, down


def _painted(
    shown: ShownMesh, light: Array, view: View, nearest: NDArray[np.int32], grain: int, paints: IntArray | None
) -> NDArray[np.uint8]:
    """Paint of the face in front of every picture point, by the face's light, (m,), and its texture."""
    paint = np.array([PAINT[origin] for origin in sorted(PAINT)]) if paints is None else paints
    lit = paint[shown.origin] * light[:, None]
    white = np.full((1, 3), 255)
    # Nothing lies in front of the points numbered -1: they take the last paint.
    pixels = np.take(np.concatenate([lit, white]).astype(np.uint8), nearest, axis=0, mode="wrap")
    if paints is None:
        at = np.flatnonzero(np.append(shown.origin != Origin.MEASURED, False)[nearest])
        front = nearest[at]
        dark = _texture(shown.origin[front], at % view.width, at // view.width, grain)
        pixels[at[dark]] = (lit * TEXTURED).astype(np.uint8)[front[dark]]
    return pixels.reshape(view.height, view.width, 3)


def rounded_normals(shown: ShownMesh) -> Array:
    """Normals of the faces (m, 3), evened out with their neighbours' where the surface is round, not over an edge."""
    mesh = Mesh(shown.vertices_mm.astype(np.float64), shown.faces.astype(np.int64))
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
