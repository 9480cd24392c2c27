"""The surface of one bore as it was scanned: which faces are its wall, floor and rims, and which loops border them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from verifier.finding.fits import frame_along
from verifier.mesh import Array, BoolArray, IntArray, Mesh, touching

# So far round the faces that are replaced, the surface is looked at to see where a mouth lies.
LOOKED_AT_MM = 2.5
MOST_ROUNDS = 10


class CannotRebuild(ValueError):
    """Why a bore stays as it was scanned; completes 'it could not be rebuilt: …'."""


class Reach(NamedTuple):
    """How far from the axis faces are replaced, on its lower half and on its upper: a seat widens one mouth only."""

    below_mm: float
    above_mm: float

    def at_mm(self, heights: Array) -> Array:
        """At heights along the axis, whose point is at nought."""
        return np.where(heights < 0.0, self.below_mm, self.above_mm)


@dataclass(frozen=True, slots=True)
class Around:
    """The surface about one axis.

    turn : (3, 3) rows u, v, w; w is the axis
    local_mm : (n, 3) all corners of the mesh in that frame, heights along the axis last
    faces : (k,) faces of the mesh with a corner within reach
    """

    mesh: Mesh
    origin_mm: Array
    turn: Array
    local_mm: Array
    faces: IntArray

    @property
    def corners(self) -> IntArray:
        """Corners of the faces about, (k, 3)."""
        return self.mesh.faces[self.faces]

    def back_mm(self, local_mm: Array) -> Array:
        """Places of the axis' frame in that of the mesh."""
        return np.asarray(local_mm @ self.turn + self.origin_mm)

    def within(self, corners: IntArray, reach: Reach) -> BoolArray:
        """Which corners lie within reach of the axis."""
        return np.asarray(self.from_axis_mm(corners) < reach.at_mm(self.local_mm[corners, 2]))

    def from_axis_mm(self, corners: IntArray) -> Array:
        """How far corners lie from the axis."""
        at = self.local_mm[corners]
        return np.hypot(at[..., 0], at[..., 1])


@dataclass(frozen=True, slots=True)
class Mouth:
    """One border of the faces to be replaced.

    loop : (k,) corners in the order in which the replaced faces run along it
    outward : +1 where it opens along the axis, -1 where against
    height_mm : of its middle
    piece : which piece of surface it borders
    """

    loop: IntArray
    outward: int
    height_mm: float
    piece: int


@dataclass(frozen=True, slots=True)
class Opening:
    """What is replaced of one bore: channels from mouth to mouth, and blind holes with their floors.

    faces : (k,) of the mesh
    channels : pairs of mouths, the lower one first
    blind : mouths with the height of their floor
    """

    faces: IntArray
    channels: tuple[tuple[Mouth, Mouth], ...]
    blind: tuple[tuple[Mouth, float], ...]


def look_around(mesh: Mesh, point_mm: Array, axis: Array, reach_mm: float) -> Around:
    """The faces about an axis, out to a distance that holds what is replaced and a rim of what stays."""
    turn = np.stack(frame_along(axis))
    local_mm = (mesh.vertices_mm - point_mm) @ turn.T
    near: BoolArray = local_mm[:, 0] ** 2 + local_mm[:, 1] ** 2 < (reach_mm + LOOKED_AT_MM) ** 2
    return Around(mesh, point_mm, turn, local_mm, np.flatnonzero(touching(mesh.faces, near)))


def opening_of(around: Around, wall: IntArray, reach: Reach) -> Opening:
    """The faces within reach of the axis that hang together with the bore's wall, and their mouths.

    wall : faces of the mesh that were fitted
    Raises CannotRebuild where something else lies as near, or where they do not end in round mouths.
    """
    within = around.faces[around.within(around.corners, reach).any(axis=1)]
    piece = _pieces(around.mesh.faces[within])
    own = np.isin(piece, np.unique(piece[np.isin(within, wall)]))
    _see_nothing_else(around, within[own], within[~own], reach)
    chosen = _without_pinches(around, within[own])
    piece = _pieces(around.mesh.faces[chosen])
    mouths = [_mouth(around, loop, k) for k in range(piece.max() + 1) for loop in _loops(around, chosen[piece == k])]
    return _sorted_out(around, chosen, piece, mouths)


def _pieces(faces: IntArray) -> IntArray:
    """A number for every face, the same for all that hang together by corners, (k,)."""
    names, number = np.unique(faces, return_inverse=True)
    number = number.reshape(-1, 3)
    links = sparse.coo_array(
        (np.ones(2 * len(faces), dtype=np.int8), (number[:, [0, 1]].ravel(), number[:, [1, 2]].ravel())),
        shape=(len(names), len(names)),
    )
    return np.asarray(csgraph.connected_components(links, directed=False)[1][number[:, 0]], dtype=np.int64)


def _see_nothing_else(around: Around, own: IntArray, others: IntArray, reach: Reach) -> None:
    if len(own) == 0:
        raise CannotRebuild("its wall is not there any more")
    heights = around.local_mm[around.mesh.faces[own], 2]
    corners = np.unique(around.mesh.faces[others])
    at = around.local_mm[corners, 2][around.within(corners, reach)]
    if ((at > heights.min()) & (at < heights.max())).any():
        raise CannotRebuild("another face of the part lies in its way")


def _border(faces: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Directed edges of these faces without an opposite among them: starts and ends."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    # No edge occurs twice, and sorting them takes a third of the time that hashing takes.
    alone = ~np.isin(start * count + end, end * count + start, assume_unique=True, kind="sort")
    return start[alone], end[alone]


def _without_pinches(around: Around, chosen: IntArray) -> IntArray:
    """The faces with those added that touch them where their border passes one corner twice."""
    for _ in range(MOST_ROUNDS):
        start, _ = _border(around.mesh.faces[chosen], len(around.local_mm))
        corners, times = np.unique(start, return_counts=True)
        if (times == 1).all():
            return chosen
        touching = np.isin(around.corners, corners[times > 1]).any(axis=1)
        chosen = np.union1d(chosen, around.faces[touching])
    raise CannotRebuild("its rim is ragged")


def _loops(around: Around, faces: IntArray) -> list[IntArray]:
    start, end = _border(around.mesh.faces[faces], len(around.local_mm))
    following = dict(zip(start.tolist(), end.tolist(), strict=True))
    loops = []
    while following:
        loop = [next(iter(following))]
        while (ahead := following.pop(loop[-1])) != loop[0]:
            loop.append(ahead)
        loops.append(np.array(loop, dtype=np.int64))
    return loops


def _mouth(around: Around, loop: IntArray, piece: int) -> Mouth:
    """A loop that runs once round the axis; the replaced faces' side of it says which way it opens."""
    at = around.local_mm[loop]
    ahead = np.roll(at, -1, axis=0)
    turned = np.arctan2(
        at[:, 0] * ahead[:, 1] - at[:, 1] * ahead[:, 0], at[:, 0] * ahead[:, 0] + at[:, 1] * ahead[:, 1]
    )
    turns = round(float(turned.sum()) / (2.0 * np.pi))
    if abs(turns) != 1:
        raise CannotRebuild("another opening meets it")
    return Mouth(loop, turns, float(at[:, 2].mean()), piece)


def _sorted_out(around: Around, faces: IntArray, piece: IntArray, mouths: Sequence[Mouth]) -> Opening:
    """Mouths in pairs: both ends of one piece of wall, or two that look away from each other with no wall between."""
    channels, single = [], []
    for k in sorted({mouth.piece for mouth in mouths}):
        own = sorted((mouth for mouth in mouths if mouth.piece == k), key=lambda mouth: mouth.height_mm)
        if len(own) == 2 and (own[0].outward, own[1].outward) == (-1, 1):
            channels.append((own[0], own[1]))
        elif len(own) == 1:
            single.append(own[0])
        else:
            raise CannotRebuild("it does not end in one mouth or in two")
    single.sort(key=lambda mouth: mouth.height_mm)
    if len(single) == 2 and (single[0].outward, single[1].outward) == (-1, 1) and not channels:
        return Opening(faces, ((single[0], single[1]),), ())
    blind = tuple((mouth, _floor_mm(around, faces[piece == mouth.piece])) for mouth in single)
    return Opening(faces, tuple(channels), blind)


def _floor_mm(around: Around, faces: IntArray) -> float:
    """Height of a blind hole's floor: the middle value of what lies in the inner half of its width."""
    corners = np.unique(around.mesh.faces[faces])
    from_axis_mm = around.from_axis_mm(corners)
    heights = around.local_mm[corners, 2]
    inner = from_axis_mm <= max(0.5 * np.median(from_axis_mm), float(np.sort(from_axis_mm)[min(5, len(corners) - 1)]))
    return float(np.median(heights[inner]))
