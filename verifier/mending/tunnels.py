"""A long bore of which no more than its two ends were seen: lined from rim to rim, round its own axis.

A scanner looks a few diameters deep into a bore, deeper on the side it looked at: the rims in there are ragged and
slant by up to half a right angle. A tube straight from one to the other would cut through the wall, so each rim is led
on to a ring clear of it first.

    _______________________
        .' |           | `.
       /   |   lining  |   \\
    _.'____|___________|____`._
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

import manifold3d
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.new_faces import NewFaces, sewn_in
from verifier.mending.rims import (
    AREA_RATIO,
    DRAFT,
    FACING_COSINE,
    RAGGED_MM,
    UNSEEN_WALL,
    Rim,
    nearest_pairs,
    rims_of,
    runs_through,
    walked_at_once,
)
from verifier.mending.wall_ends import OFF_CIRCLE_SHARE, WallEnd, circle_of, wall_end
from verifier.mesh import Array, IntArray

# Rims this many radii apart have their axis from one middle to the other, whichever way they slant.
LONG = 2.0
# The disc over a rim looks along that axis within 53 degrees (cosine).
LEAST_SQUARE = 0.6
# Between rim and ring faces span two sectors at most, so that they lie near the round; further in they are about so
# many radii long.
SECTORS = 16
ROW_RADII = 1.0


@dataclass(frozen=True, slots=True)
class _End:
    """One rim of a tunnel on its wall unrolled, walked in the sense that both are, from where it reaches deepest.

    corners : (k,) its corner numbers
    turn : (k,) how far round the axis each is, in turns, rising by one in all
    height_mm : (k,) how far along the axis each is
    middle_mm : (2,) of the wall's circle across the axis; radius_mm : its radius
    step_mm : from corner to corner
    sense : 1 where it is walked anticlockwise as seen against the axis, -1 where clockwise
    """

    corners: IntArray
    turn: Array
    height_mm: Array
    middle_mm: Array
    radius_mm: float
    step_mm: float
    sense: int


def line_tunnels(draft: Draft) -> Draft:
    """Line every bore whose two ends face each other from afar; none that would run through the part."""
    linings = (_lining(draft, one, other) for one, other in _facing_pairs(draft, rims_of(draft)))
    kept = [lining for lining in linings if lining is not None and not runs_through(draft, lining)]
    return sewn_in(draft, kept, UNSEEN_WALL)


def _facing_pairs(draft: Draft, rims: Sequence[Rim]) -> list[tuple[Rim, Rim]]:
    """Ends of one bore, the nearest first, every rim once; none with another rim across the bore between them."""
    ends = [(rim, wall_end(draft, rim.loop)) for rim in rims]
    facing = nearest_pairs(
        (float(np.linalg.norm(ends[i][0].middle_mm - ends[j][0].middle_mm)), i, j)
        for i, j in combinations(range(len(ends)), 2)
        if (ends[i][1] or ends[j][1])
        and _face_from_afar(*ends[i], *ends[j])
        and not any(_lies_between(rims[i], rims[j], rim) for rim in rims)
    )
    return [(ends[i][0], ends[j][0]) for i, j in facing]


def _face_from_afar(one: Rim, one_end: WallEnd | None, other: Rim, other_end: WallEnd | None) -> bool:
    """Whether two rims of one piece have their walls along one line, each behind the other's disc.

    A row of faces at one of them may be too little to tell a wall by: that at the other says that it is there.
    """
    apart_mm = other.middle_mm - one.middle_mm
    length_mm = float(np.linalg.norm(apart_mm))
    if one.piece != other.piece or length_mm < LONG * (one.radius_mm + other.radius_mm) / 2:
        return False
    way = apart_mm / length_mm
    square = min(-float(one.outward @ way), float(other.outward @ way)) > LEAST_SQUARE
    along = [float(end.axis @ to) for end, to in ((one_end, way), (other_end, -way)) if end is not None]
    return square and min(along, default=0.0) > FACING_COSINE


def _lies_between(one: Rim, other: Rim, rim: Rim) -> bool:
    """Whether a rim's middle lies in the bore between two others: that ends there, in another bore, say."""
    way = other.middle_mm - one.middle_mm
    share = float((rim.middle_mm - one.middle_mm) @ way) / float(way @ way)
    off_mm = float(np.linalg.norm(rim.middle_mm - one.middle_mm - share * way))
    return 0.0 < share < 1.0 and off_mm < 0.5 * min(one.radius_mm, other.radius_mm)


def _lining(draft: Draft, one: Rim, other: Rim) -> NewFaces | None:
    """Faces from rim to rim; None where they are not the two ends of a round wall, or reach past each other."""
    apart_mm = other.middle_mm - one.middle_mm
    frame = np.linalg.svd(apart_mm[None])[2][[1, 2, 0]]
    frame[2] = apart_mm / np.linalg.norm(apart_mm)
    places_mm = (draft.mesh.vertices_mm - one.middle_mm) @ frame.T
    near = _end(draft.edges.start[one.loop], places_mm, 1)
    far = _end(draft.edges.start[other.loop][::-1], places_mm, -1)
    if near is None or far is None or near.sense != far.sense or not _alike(near.radius_mm, far.radius_mm):
        return None
    low_mm, high_mm = near.height_mm[0] + near.step_mm, far.height_mm[0] - far.step_mm
    if low_mm >= high_mm:
        return None
    rows = 2 + int((high_mm - low_mm) / (ROW_RADII * near.radius_mm))
    count = max(SECTORS, int(2.0 * np.pi * near.radius_mm / near.step_mm))
    rings, turn = -1 - np.arange(rows * count).reshape(rows, count), np.arange(count) / count
    faces = [
        _strip(near, rings[0], low_mm),
        *(walked_at_once(here, turn, there, turn) for here, there in pairwise(rings)),
        _strip(far, rings[-1], high_mm),
    ]
    share = np.linspace(0.0, 1.0, rows)
    corners_mm = np.concatenate([_ring_mm(near, far, s, low_mm + s * (high_mm - low_mm), count) for s in share])
    return NewFaces(one.middle_mm + corners_mm @ frame, np.concatenate(faces))


def _ring_mm(near: _End, far: _End, share: float, height_mm: float, count: int) -> Array:
    """Corners of a ring across the axis, so far on from the near end to the far one, (count, 3)."""
    radius_mm = (1.0 - share) * near.radius_mm + share * far.radius_mm
    x, y = (1.0 - share) * near.middle_mm + share * far.middle_mm
    angle = near.sense * 2.0 * np.pi * np.arange(count) / count
    return np.column_stack([x + radius_mm * np.cos(angle), y + radius_mm * np.sin(angle), np.full(count, height_mm)])


def _strip(end: _End, ring: IntArray, height_mm: float) -> IntArray:
    """Faces between a rim and the ring clear of it, on the wall unrolled, a sector at a time.

    Where a sector is cut off, the rim reaches deepest of all round there, so that nothing of it lies between.
    """
    count = len(end.corners)
    rim_turn, rim_mm = np.r_[end.turn, end.turn[0] + 1.0], np.r_[end.height_mm, end.height_mm[0]]
    cuts = np.r_[_cuts(end), count]
    faces = []
    for rim_ends, ring_ends in zip(
        pairwise(cuts), pairwise(np.round(rim_turn[cuts] * len(ring)).astype(int)), strict=True
    ):
        rim, back = np.arange(rim_ends[0], rim_ends[1] + 1), np.arange(ring_ends[1], ring_ends[0] - 1, -1)
        turn = np.concatenate([rim_turn[rim], back / len(ring)])
        outline = np.column_stack(
            [2.0 * np.pi * end.radius_mm * turn, np.r_[rim_mm[rim], np.full(len(back), height_mm)]]
        )
        number = np.concatenate([end.corners[rim % count], ring[back % len(ring)]])
        if height_mm < rim_mm[0]:
            outline, number = outline[::-1], number[::-1]
        faces.append(number[np.asarray(manifold3d.triangulate([np.ascontiguousarray(outline)]))][:, ::-1])
    return np.concatenate(faces)


def _cuts(end: _End) -> IntArray:
    """Places in the walk where the rim reaches deepest near the bounds of the sectors, in order; the first is 0."""
    depth_mm = -np.abs(end.height_mm - end.height_mm[0])
    cuts = [0]
    for bound in end.turn[0] + np.arange(1, SECTORS) / SECTORS:
        near = np.flatnonzero(np.abs(end.turn - bound) < 0.25 / SECTORS)
        if len(near) and (deepest := int(near[np.argmax(depth_mm[near])])) > cuts[-1]:
            cuts.append(deepest)
    return np.array(cuts)


def _end(corners: IntArray, places_mm: Array, deep: int) -> _End | None:
    """A rim walked in this order; None where it is no circle about the third axis, or does not go round it once.

    places_mm : (n, 3) of all corners, across, across and along the axis
    deep : 1 where it reaches deepest at the greatest height, -1 where at the least
    """
    corners = np.roll(corners, -int(np.argmax(deep * places_mm[corners, 2])))
    x, y, height_mm = places_mm[corners].T
    middle_mm, radius_mm = circle_of(x, y)
    x, y = x - middle_mm[0], y - middle_mm[1]
    if np.quantile(np.abs(np.hypot(x, y) - radius_mm), 0.9) > OFF_CIRCLE_SHARE * radius_mm:
        return None
    turn = np.unwrap(np.arctan2(np.r_[y, y[0]], np.r_[x, x[0]])) / (2.0 * np.pi)
    sense = round(float(turn[-1] - turn[0]))
    if abs(sense) != 1:
        return None
    ahead = np.roll(places_mm[corners], -1, axis=0) - places_mm[corners]
    step_mm = float(np.median(np.linalg.norm(ahead, axis=1)))
    return _End(corners, sense * turn[:-1], height_mm, middle_mm, radius_mm, step_mm, sense)


def _alike(one_mm: float, other_mm: float) -> bool:
    least, most = sorted((one_mm, other_mm))
    return most - least < RAGGED_MM + DRAFT * least and least**2 > AREA_RATIO * most**2
