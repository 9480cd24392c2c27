"""A belt of a bore's wall that was not seen: joined from rim to rim on the wall laid out flat, however the rims slant.

______________________
    \\\\  not seen  \\\\          a disc over each rim would shut the bore, and no ring across the axis
_____\\\\___________\\\\___       lies between the two
"""

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.discs import disc_over
from verifier.mending.draft import Draft
from verifier.mending.loops import RIM_EDGES, loops_of
from verifier.mending.new_faces import NewFaces, sewn_in
from verifier.mending.rims import FACING_COSINE, UNSEEN_WALL, Rim, is_no_bore, nearest_pairs, rims_of, runs_through
from verifier.mending.round_walls import RoundRim, frame_along, round_rims, side_of, wall_about
from verifier.mesh import IntArray

# Rims farther apart than this many radii are those of a tunnel, or of two bores in one line with air between.
NEAR_RADII = 2.0


def close_belts(draft: Draft) -> Draft:
    """Join the two rims of every belt of a bore's wall that was not seen; none that would run through the part."""
    belts = [_belt(draft, one, other) for one, other in _pairs(draft)]
    return sewn_in(draft, [belt for belt in belts if not runs_through(draft, belt)], UNSEEN_WALL)


def _pairs(draft: Draft) -> list[tuple[RoundRim, IntArray]]:
    """Rims of bores' walls and what loop is the other rim of that wall, the nearest first, every loop once."""
    loops = [loop for loop in loops_of(draft) if len(loop) >= RIM_EDGES]
    belts: dict[tuple[float, int, int], RoundRim] = {}
    for i, j, rim in _rims_with_another(draft, loops):
        apart_mm = apart_on_one_wall_mm(draft, rim, loops[j])
        if apart_mm is not None:
            belts.setdefault((apart_mm, i, j), rim)
    of_pair = {(i, j): rim for (_, i, j), rim in belts.items()}
    return [(of_pair[pair], loops[pair[1]]) for pair in nearest_pairs(belts)]


def _rims_with_another(draft: Draft, loops: Sequence[IntArray]) -> Iterator[tuple[int, int, RoundRim]]:
    """Every loop with a bore's wall at it, and the number of any other.

    The wall at one of them says that it is there: the other, at a mouth or where two bores meet, may have none. Where
    neither has, they are two that face each other, of no hole through a wall.
    """
    number = {int(loop[0]): k for k, loop in enumerate(loops)}
    first_mm = draft.mesh.vertices_mm[draft.edges.start[list(number)]]
    for rim in round_rims(draft):
        if rim.looks_in:
            near = np.flatnonzero(np.abs(rim.wall.off_mm(first_mm)) < rim.wall.radius_mm)
            yield from ((number[int(rim.loop[0])], j, rim) for j in near.tolist() if loops[j] is not rim.loop)
    rims = rims_of(draft)
    ways = np.array([rim.outward for rim in rims]).reshape(-1, 3)
    for i, j in np.argwhere(np.triu(ways @ ways.T < -FACING_COSINE)).tolist():
        facing = _facing(draft, rims[i], rims[j])
        if facing is not None:
            yield number[int(rims[i].loop[0])], number[int(rims[j].loop[0])], facing


def _facing(draft: Draft, one: Rim, other: Rim) -> RoundRim | None:
    """The first of two rims that look away from each other as one of the round wall that holds both."""
    axis = one.outward - other.outward
    axis = axis / np.linalg.norm(axis)
    apart_mm = other.middle_mm - one.middle_mm
    ahead_mm = float(apart_mm @ axis)
    off_axis_mm = float(np.linalg.norm(apart_mm - ahead_mm * axis))
    if one.piece != other.piece or ahead_mm >= 0.0 or off_axis_mm > one.radius_mm + other.radius_mm:
        return None
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (one, other))
    wall = wall_about(frame_along(axis), np.concatenate([near_mm, far_mm]))
    if not wall.holds(near_mm, ragged=True) or is_no_bore(draft, one, other):
        return None
    return RoundRim(one.loop, wall, wall.times_round(near_mm), looks_in=True)


def apart_on_one_wall_mm(draft: Draft, rim: RoundRim, loop: IntArray) -> float | None:
    """How near a loop comes to a rim; None where it does not go round the rim's wall the other way, near to it."""
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[each]] for each in (rim.loop, loop))
    if abs(rim.sense) != 1 or not rim.wall.holds(far_mm, ragged=True) or rim.wall.times_round(far_mm) != -rim.sense:
        return None
    apart_mm = float(cKDTree(near_mm).query(far_mm)[0].min())
    return apart_mm if apart_mm < NEAR_RADII * rim.wall.radius_mm else None


def _belt(draft: Draft, one: RoundRim, other: IntArray) -> NewFaces:
    """Faces from rim to rim, on the wall cut open where they are nearest to each other and laid out flat.

    The two sides of the cut are one edge, walked both ways.
    """
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[loop]] for loop in (one.loop, other))
    away_mm, nearest = cKDTree(far_mm).query(near_mm)
    first = int(away_mm.argmin())
    near = side_of(draft, one.wall, np.roll(one.loop, -first), one.sense, 0.0)
    cut_rad = float(near.flat_mm[-1, 0]) / one.wall.radius_mm
    far = side_of(draft, one.wall, np.roll(other, -int(nearest[first])), -one.sense, cut_rad)
    disc = disc_over(*(np.concatenate(both) for both in ((near.flat_mm, far.flat_mm), (near.beside_mm, far.beside_mm))))
    numbers = np.concatenate([near.corners, far.corners, -1 - np.arange(len(disc.inside_mm))])
    return NewFaces(one.wall.rolled_up(disc.inside_mm), numbers[disc.faces])
