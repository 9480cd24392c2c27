"""A hub whose end nobody saw: its wall and its bore's are led on to where either was last seen, a flat face between.

 .  '|   | '  .              ___     ___
|    |   |     |            |   |   |   |      a skin over the outline and one over the bore's mouth
|    |   |     |     ->     |   |   |   |      would shut the bore
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import manifold3d
import numpy as np

from verifier.mending.belts import apart_on_one_wall_mm
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES
from verifier.mending.new_faces import NewFaces, sewn_in
from verifier.mending.rims import FACING_COSINE, runs_through
from verifier.mending.round_walls import RoundRim, frame_along, rim_in, round_rims, side_of
from verifier.mesh import Array, face_vectors_mm2

# The end is laid so far over the highest corner of the rims, that no face between them and the end is without area.
OVER_RIM_MM = 0.05
# A wall's faces are those so near to its circle, the scatter of a handheld scan (0.02 to 0.05 mm, common practice, no
# source) four times over, that look across its axis within 25 degrees (sine); they say how the axis lies.
NEAR_WALL_MM = 0.2
ACROSS = 0.42
# So often the axis is laid along them.
FITS = 3
CLOSED_END = "Closed flat the ends of hubs that were not seen"


@dataclass(frozen=True, slots=True, eq=False)
class _Hub:
    """The rim of a hub's wall and those of the bores that end in it, the third axis of their frame out of the end."""

    rims: tuple[RoundRim, ...]
    frame: Array


def close_hub_ends(draft: Draft) -> Draft:
    """Close flat the end of every hub that was not seen, with a mouth for its bores; none that would run through."""
    ends = [_closed_end(draft, hub) for hub in _hubs(draft)]
    return sewn_in(draft, [end for end in ends if not runs_through(draft, end)], CLOSED_END)


def _hubs(draft: Draft) -> list[_Hub]:
    """Rims of hubs with a bore that ends where they do; none whose wall goes on beyond a belt that was not seen."""
    rims = round_rims(draft)
    outlines, bores = ([rim for rim in rims if rim.looks_in == looks_in] for looks_in in (False, True))
    if not outlines or not bores:
        return []
    going_on = {
        k
        for pair in combinations(range(len(outlines)), 2)
        if apart_on_one_wall_mm(draft, outlines[pair[0]], outlines[pair[1]].loop) is not None
        for k in pair
    }
    _, piece = draft.pieces
    hubs = (
        _hub(draft, outline, [bore for bore in bores if piece[bore.loop[0] // 3] == piece[outline.loop[0] // 3]])
        for k, outline in enumerate(outlines)
        if k not in going_on
    )
    return [hub for hub in hubs if hub is not None]


def _hub(draft: Draft, outline: RoundRim, bores: Sequence[RoundRim]) -> _Hub | None:
    """An outline with the bores in it; None where none ends there, or the walls do not stand along one axis."""
    ending = [bore for bore in bores if float(bore.end @ outline.end) > FACING_COSINE and _is_in(draft, bore, outline)]
    if not ending:
        return None
    frame = frame_along(_axis_of(draft, (outline, *ending)))
    about = [rim_in(draft, rim.loop, frame) for rim in (outline, *ending)]
    rims = tuple(rim for rim in about if rim is not None)
    return _Hub(rims, frame) if len(rims) == len(about) else None


def _is_in(draft: Draft, bore: RoundRim, outline: RoundRim) -> bool:
    """Whether a bore's rim lies within the outline's circle, and ends no farther from where it does than they lie
    apart: a scanner that sees over the one wall's end by 45 degrees sees so much less of the other."""
    wall = outline.wall
    mouth_mm, outline_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (bore, outline))
    apart_mm = -float(wall.off_mm(mouth_mm).max())
    beyond_mm = abs(float((mouth_mm @ outline.end).max() - (outline_mm @ outline.end).max()))
    return beyond_mm < apart_mm


def _axis_of(draft: Draft, rims: Sequence[RoundRim]) -> Array:
    """The direction that the faces of some walls lie along, as far from the rims as the largest is wide."""
    axis, reach_mm = rims[0].end, rims[0].wall.radius_mm
    at_mm = draft.mesh.vertices_mm[draft.edges.start[rims[0].loop]].mean(axis=0)
    middles_mm = draft.mesh.corners_mm.mean(axis=1)
    near = np.flatnonzero(np.linalg.norm(middles_mm - at_mm, axis=1) < 2.0 * reach_mm)
    vectors_mm2 = face_vectors_mm2(draft.mesh)[near]
    normals, middles_mm = (
        vectors_mm2 / np.maximum(np.linalg.norm(vectors_mm2, axis=1), 1e-12)[:, None],
        middles_mm[near],
    )
    for _ in range(FITS):
        on_wall = np.zeros(len(near), dtype=bool)
        for rim in rims:
            about = rim_in(draft, rim.loop, frame_along(axis)) or rim
            on_wall |= np.abs(about.wall.off_mm(middles_mm)) < NEAR_WALL_MM
        walls = vectors_mm2[on_wall & (np.abs(normals @ axis) < ACROSS)]
        found = np.linalg.eigh(walls.T @ walls)[1][:, 0]
        axis = found * np.sign(found @ axis)
    return axis


def _closed_end(draft: Draft, hub: _Hub) -> NewFaces:
    """The walls led on to the end, and the face that has a mouth for every bore."""
    heights_mm = [draft.mesh.vertices_mm[draft.edges.start[rim.loop]] @ hub.frame[2] for rim in hub.rims]
    top_mm = max(float(height_mm.max()) for height_mm in heights_mm) + OVER_RIM_MM
    led = [_led_on(draft, rim, top_mm) for rim in hub.rims]
    before = np.cumsum([0, *(len(each.corners_mm) for each in led)])
    walls = [np.where(each.faces < 0, each.faces - n, each.faces) for n, each in zip(before[:-1], led, strict=True)]
    seen = [np.ascontiguousarray(each.corners_mm @ hub.frame[:2].T) for each in led]
    lid = -1 - np.asarray(manifold3d.triangulate(seen))
    return NewFaces(np.concatenate([each.corners_mm for each in led]), np.concatenate([*walls, lid]).astype(np.int64))


def _led_on(draft: Draft, rim: RoundRim, top_mm: float) -> NewFaces:
    """Faces on the wall laid out flat from a rim to a ring at a height, whose corners are the new ones.

    The wall is cut open where the rim reaches highest: the two sides of the cut are one edge, walked both ways. A skin
    over so low and ragged a strip folds over, where rim and ring come near to each other.
    """
    height_mm = draft.mesh.vertices_mm[draft.edges.start[rim.loop]] @ rim.wall.frame[2]
    near = side_of(draft, rim.wall, np.roll(rim.loop, -int(height_mm.argmax())), rim.sense, 0.0)
    count = _ring_corners(draft, rim)
    turn_rad = near.flat_mm[-1, 0] / rim.wall.radius_mm - rim.sense * 2.0 * np.pi * np.arange(count + 1) / count
    ring_mm = np.column_stack([rim.wall.radius_mm * turn_rad, np.full(count + 1, top_mm), np.zeros(count + 1)])
    outline_mm = np.concatenate([near.flat_mm, ring_mm])[:, :2]
    numbers = np.concatenate([near.corners, -1 - np.append(np.arange(count), 0)])
    # Strip and ring together run anticlockwise on a bore's wall, clockwise on a hub's; new faces run against the walk.
    walk = slice(None, None, rim.sense)
    strip = np.asarray(manifold3d.triangulate([np.ascontiguousarray(outline_mm[walk])]))
    return NewFaces(rim.wall.rolled_up(ring_mm[:-1]), numbers[walk][strip][:, :: -rim.sense])


def _ring_corners(draft: Draft, rim: RoundRim) -> int:
    """How many corners a ring has whose sides are as long as those of the rim."""
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim.loop]]
    step_mm = float(np.median(np.linalg.norm(np.roll(rim_mm, -1, axis=0) - rim_mm, axis=1)))
    return max(RIM_EDGES, round(2.0 * np.pi * rim.wall.radius_mm / step_mm))
