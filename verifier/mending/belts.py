"""A belt of a bore's wall that was not seen: joined from rim to rim on the wall laid out flat, however the rims slant.

______________________
    \\\\  not seen  \\\\          a disc over each rim would shut the bore, and no ring across the axis
_____\\\\___________\\\\___       lies between the two
"""

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.discs import disc_over
from verifier.mending.draft import Draft
from verifier.mending.new_faces import NewFaces, sewn_in
from verifier.mending.rims import FACING_COSINE, UNSEEN_WALL, nearest_pairs, runs_through
from verifier.mending.round_walls import RoundRim, round_rims, side_of

# Rims farther apart than this many radii are those of a tunnel, or of two bores in one line with air between.
NEAR_RADII = 2.0


def close_belts(draft: Draft) -> Draft:
    """Join the two rims of every belt of a bore's wall that was not seen; none that would run through the part."""
    rims = [rim for rim in round_rims(draft) if rim.looks_in]
    belts = [_belt(draft, one, other) for one, other in _pairs(draft, rims)]
    return sewn_in(draft, [belt for belt in belts if not runs_through(draft, belt)], UNSEEN_WALL)


def _pairs(draft: Draft, rims: Sequence[RoundRim]) -> list[tuple[RoundRim, RoundRim]]:
    """Rims of one wall, the nearest first, every rim once."""
    found = nearest_pairs(
        (apart_mm, i, j)
        for i, j in combinations(range(len(rims)), 2)
        if (apart_mm := apart_on_one_wall_mm(draft, rims[i], rims[j])) is not None
    )
    return [(rims[i], rims[j]) for i, j in found]


def apart_on_one_wall_mm(draft: Draft, one: RoundRim, other: RoundRim) -> float | None:
    """How near two rims come to each other; None where they are not of one wall, walked against each other."""
    along = float(one.wall.frame[2] @ other.wall.frame[2])
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (one, other))
    if abs(along) < FACING_COSINE or one.sense == other.sense * np.sign(along) or not one.wall.holds(far_mm):
        return None
    apart_mm = float(cKDTree(near_mm).query(far_mm)[0].min())
    return apart_mm if apart_mm < NEAR_RADII * one.wall.radius_mm else None


def _belt(draft: Draft, one: RoundRim, other: RoundRim) -> NewFaces:
    """Faces from rim to rim, on the wall cut open where they are nearest to each other and laid out flat.

    The two sides of the cut are one edge, walked both ways.
    """
    near_mm, far_mm = (draft.mesh.vertices_mm[draft.edges.start[rim.loop]] for rim in (one, other))
    away_mm, nearest = cKDTree(far_mm).query(near_mm)
    first = int(away_mm.argmin())
    near = side_of(draft, one.wall, np.roll(one.loop, -first), one.sense, 0.0)
    cut_rad = float(near.flat_mm[-1, 0]) / one.wall.radius_mm
    far = side_of(draft, one.wall, np.roll(other.loop, -int(nearest[first])), -one.sense, cut_rad)
    disc = disc_over(*(np.concatenate(both) for both in ((near.flat_mm, far.flat_mm), (near.beside_mm, far.beside_mm))))
    numbers = np.concatenate([near.corners, far.corners, -1 - np.arange(len(disc.inside_mm))])
    return NewFaces(one.wall.rolled_up(disc.inside_mm), numbers[disc.faces])
