"""The face around what stands out of a body, not seen: a boss on the table holds the body over it.

A scan from above shows the body down to its lower rim and the boss's wall up to where the body hides it, and nothing
between. Closed one by one, the two rims would run through each other.

    |               |          |               |
    |               |          |               |      the rim of the body ends in a plane; walls that stand under it
    '               '    ->    |___         ___|      are led up to the plane, and one flat face lies between
        '       '                  |       |
        |       |                  |       |
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.cut_free import CutFree, cut_off, least_crossed, wall_crossings
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, by_length, loops_of
from verifier.mending.open_below import (
    ABOVE_RIM_MM,
    BESIDE_MM,
    EVENED,
    LEVEL_MM,
    LEVEL_SHARE,
    MOST_TRIED,
    STRAY_OF_RIM,
    level_ends_mm,
    level_plane,
    stands_on,
    under_all,
)
from verifier.mending.outlines import Flat, in_plane, near_any, winds_round, within_any
from verifier.mending.underside import Plane, feet_of, with_notches_filled, with_underside
from verifier.mending.wall_ends import ALONG_WALL, LOOKING_IN, normals_at
from verifier.mesh import Array, IntArray, Mesh, face_normals, marked_once, touching

# Of a wall under the body no more is led on than this share of what lies between the plane and its foot; the rest was
# seen, and says where the wall stands.
LED_ON_SHARE = 0.75
# The wall is cut where nine of ten corners of its ragged rim reach; the rest is filled as notches.
RAGGED_SHARE = 0.1
# How much further both are cut where new faces would cross there: a knot in a rim, or a notch that reaches deep.
LIFTS_MM = (0.0, 0.1, 0.2, 0.4, 0.8)


@dataclass(frozen=True, slots=True)
class _Shoulder:
    """A level rim of a body and the walls that stand under it.

    plane : looks to the body
    above_mm, below_mm : how far over the plane the body is cut, and under it the walls
    walled : whether the body's rim is the foot of a wall, and not the edge of a face that goes on in the plane
    rim, outlines : as they lie in the plane, complex
    """

    plane: Plane
    above_mm: float
    below_mm: float
    walled: bool
    rim: Flat
    outlines: tuple[Flat, ...]

    @property
    def looking_down(self) -> Plane:
        return self.plane.turned()


def close_shoulders(draft: Draft) -> Draft:
    """Join level rims with the outer walls that end within them by flat faces; any other draft comes back as it is."""
    while (joined := _joined_once(draft)) is not draft:
        draft = joined
    return draft


def _joined_once(draft: Draft) -> Draft:
    loops = [loop for loop in loops_of(draft) if len(loop) >= RIM_EDGES]
    ends = [loop for loop in loops if _looks_out(draft, loop)]
    for rim in by_length(draft.mesh, draft.edges, loops)[:MOST_TRIED] if ends else []:
        shoulder = _shoulder_at(draft, rim, ends)
        joined = draft if shoulder is None else _closed_flat(draft, shoulder)
        if joined is not draft:
            return joined
    return draft


def _shoulder_at(draft: Draft, rim: IntArray, ends: Sequence[IntArray]) -> _Shoulder | None:
    """The shoulder whose outer edge a rim is, with all that stands under it; None where it is none."""
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim]]
    beside_mm = _beside(draft, rim)
    plane, share = level_plane(rim_mm, beside_mm.mean(axis=0))
    if share < LEVEL_SHARE:
        return None
    walled = stands_on(draft, rim, plane)
    heights = plane.heights_mm(rim_mm)
    low, high = level_ends_mm(heights)
    both_ways = [(plane, heights), (plane.turned(), -heights)]
    for level in [plane.raised(low)] if walled else [under_all(*way) for way in both_ways]:
        if np.quantile(level.heights_mm(beside_mm), STRAY_OF_RIM) < -LEVEL_MM:
            continue
        if not walled and _lies_within(beside_mm, rim_mm, level):
            continue
        standing = [loop for loop in ends if loop is not rim and _stands_under(draft, loop, rim_mm, level)]
        if standing:
            outlines = tuple(in_plane(draft.mesh.vertices_mm[draft.edges.start[loop]], level) for loop in standing)
            below_mm = max(_ragged_to_mm(draft, loop, level) for loop in standing) + ABOVE_RIM_MM
            above_mm = high - low + ABOVE_RIM_MM
            return _Shoulder(level, above_mm, below_mm, walled, in_plane(rim_mm, level), outlines)
    return None


def _lies_within(beside_mm: Array, rim_mm: Array, plane: Plane) -> bool:
    """Whether the surface beside a rim lies within it: then the rim is where that ends, a table's say, and no hole."""
    return bool(within_any([in_plane(rim_mm, plane)], in_plane(beside_mm, plane)).mean() > 0.5)


def _beside(draft: Draft, rim: IntArray) -> Array:
    """Corners of the surface near a rim, (n, 3)."""
    _, piece = draft.pieces
    points, faces = draft.mesh.vertices_mm, draft.mesh.faces
    rim_mm = points[draft.edges.start[rim]]
    boxed = np.ones(len(points), dtype=bool)
    for along, low, high in zip(points.T, rim_mm.min(axis=0) - BESIDE_MM, rim_mm.max(axis=0) + BESIDE_MM, strict=True):
        boxed &= (along > low) & (along < high)
    there = np.flatnonzero(touching(faces, boxed))
    own = marked_once(faces[there[piece[there] == piece[rim[0] // 3]]], len(points))
    near_mm = points[own[boxed[own]]]
    return np.asarray(near_mm[cKDTree(rim_mm).query(near_mm, distance_upper_bound=BESIDE_MM)[0] < BESIDE_MM])


def _stands_under(draft: Draft, loop: IntArray, rim_mm: Array, plane: Plane) -> bool:
    """Whether a loop within a rim is the upper end of a wall that stands on the plane from below."""
    loop_mm = draft.mesh.vertices_mm[draft.edges.start[loop]]
    if not winds_round(in_plane(rim_mm - loop_mm.mean(axis=0), plane)):
        return False
    if np.quantile(plane.heights_mm(_beside(draft, loop)), 1.0 - STRAY_OF_RIM) > LEVEL_MM:
        return False
    if np.square(normals_at(draft, loop) @ plane.normal).mean() > ALONG_WALL:
        return False
    return _ragged_to_mm(draft, loop, plane) < LED_ON_SHARE * _foot_of_wall_mm(draft, loop, plane)


def _foot_of_wall_mm(draft: Draft, loop: IntArray, plane: Plane) -> float:
    """How far below the plane the surface goes on that lies in one line with a wall's end."""
    points = draft.mesh.vertices_mm
    used_mm = points[marked_once(draft.mesh.faces, len(points))]
    under_mm = used_mm[plane.heights_mm(used_mm) < 0.0]
    in_line = near_any([in_plane(points[draft.edges.start[loop]], plane)], in_plane(under_mm, plane), LEVEL_MM)
    return float(-plane.heights_mm(under_mm[in_line]).min(initial=0.0))


def _ragged_to_mm(draft: Draft, loop: IntArray, plane: Plane) -> float:
    """How far below the plane a ragged rim reaches."""
    heights = plane.heights_mm(draft.mesh.vertices_mm[draft.edges.start[loop]])
    return max(-float(np.quantile(heights, RAGGED_SHARE)), 0.0)


def _closed_flat(draft: Draft, shoulder: _Shoulder) -> Draft:
    """The draft with one flat face between the body and what stands under it; as it is where new faces would cross."""
    tried = (_closed_at(draft, shoulder, lift_mm) for lift_mm in LIFTS_MM)
    best = least_crossed(draft, (each for each in tried if each is not None))
    return best.draft if best.is_sound(len(shoulder.rim)) else draft


def _closed_at(draft: Draft, shoulder: _Shoulder, lift_mm: float) -> CutFree | None:
    """Cut so much further from the plane than need be; None where a rim is lost by that."""
    lifted = replace(shoulder, above_mm=shoulder.above_mm + lift_mm, below_mm=shoulder.below_mm + lift_mm)
    freed = cut_off(draft, _over_mm(draft, lifted), EVENED)
    even = _notches_filled(freed, lifted)
    above, below = _rims_above(even, lifted), _rims_below(even, lifted)
    if not above or len(below) < len(shoulder.outlines):
        return None
    made = with_underside(even, shoulder.plane, above + below)
    return CutFree(made, wall_crossings(freed.mesh, made.mesh))


def _notches_filled(freed: Draft, shoulder: _Shoulder) -> Draft:
    """The surface with rims that keep to the cuts."""
    if shoulder.walled:
        freed = with_notches_filled(freed, shoulder.plane, shoulder.above_mm, _rims_above(freed, shoulder))
    return with_notches_filled(freed, shoulder.looking_down, shoulder.below_mm, _rims_below(freed, shoulder))


def _over_mm(draft: Draft, shoulder: _Shoulder) -> Array:
    """How far corners lie over the cut above the plane, or under the one below it, (n,); all others lie far from it.

    Walls are what lies in one line with their ends; what lies within them, as a bore does, is left alone.
    """
    heights = shoulder.plane.heights_mm(draft.mesh.vertices_mm)
    over = np.full(len(heights), np.ptp(heights) + 1.0)
    beside = np.flatnonzero((heights < LEVEL_MM) & (heights > -shoulder.below_mm - LEVEL_MM))
    at = in_plane(draft.mesh.vertices_mm[beside], shoulder.plane)
    on_wall = near_any(shoulder.outlines, at, LEVEL_MM)
    over[beside[on_wall]] = -heights[beside[on_wall]] - shoulder.below_mm
    if shoulder.walled:
        of_body = ~on_wall & ~within_any(shoulder.outlines, at) & (heights[beside] > -LEVEL_MM)
        of_body &= within_any([shoulder.rim], at) | near_any([shoulder.rim], at, LEVEL_MM)
        over[beside[of_body]] = heights[beside[of_body]] - shoulder.above_mm
    return over


def _rims_above(draft: Draft, shoulder: _Shoulder) -> list[IntArray]:
    """Rims at the cut above the plane, but those of bores that go on into what stands under it."""
    rims = _at_cut(draft, shoulder.plane, shoulder.above_mm)
    flat = [in_plane(rim_mm, shoulder.plane) for _, rim_mm in rims]
    under = [near_any(shoulder.outlines, at, LEVEL_MM) | within_any(shoulder.outlines, at) for at in flat]
    return [rim for (rim, _), is_under in zip(rims, under, strict=True) if is_under.mean() < 0.5]


def _rims_below(draft: Draft, shoulder: _Shoulder) -> list[IntArray]:
    """Rims of the outer walls at the cut below the plane."""
    rims = _at_cut(draft, shoulder.looking_down, shoulder.below_mm)
    on_wall = [near_any(shoulder.outlines, in_plane(rim_mm, shoulder.plane), LEVEL_MM) for _, rim_mm in rims]
    return [rim for (rim, _), on in zip(rims, on_wall, strict=True) if on.mean() > 0.5 and _looks_out(draft, rim)]


def _at_cut(draft: Draft, plane: Plane, cut_mm: float) -> list[tuple[IntArray, Array]]:
    """Rims between a plane and the cut over it, each with its corners."""
    rims = [(rim, draft.mesh.vertices_mm[draft.edges.start[rim]]) for rim in feet_of(draft, plane, cut_mm)]
    return [(rim, rim_mm) for rim, rim_mm in rims if np.median(plane.heights_mm(rim_mm)) > -LEVEL_MM / 2]


def _looks_out(draft: Draft, loop: IntArray) -> bool:
    """Whether most faces at a loop look away from its middle."""
    points = draft.mesh.vertices_mm
    spokes = points[draft.edges.start[loop]] - points[draft.edges.start[loop]].mean(axis=0)
    normals = face_normals(Mesh(points, draft.mesh.faces[loop // 3]))
    return bool((np.einsum("qx,qx->q", normals, spokes) > 0).mean() > LOOKING_IN)
