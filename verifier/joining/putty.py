"""Lumps at the foot of one view where another view shows that nothing is: putty, a clamp, a prop."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.comparing.refining import Target
from verifier.joining.view import View
from verifier.mending.edges import components
from verifier.mesh import Array, BoolArray

# Of so many nearest points of the other view any may be the one that is meant.
NEIGHBOURS = 6
# A surface this far before another view's, which faces alike, stands where that one saw nothing; nearer is scatter,
# and farther away it may be another face of the part.
LEAST_BEFORE_MM, MOST_BEFORE_MM = 0.5, 8.0
ALIKE_COSINE = 0.5
# Surface that no other view shows is foreign too where it hangs on such, and lies before what others show, facing
# whatever way but the opposite one.
ANY_COSINE = -0.3
CONFIRMED_MM = 0.35
# Fewer points than this are no lump.
LEAST_POINTS = 12
# Putty that holds a part shows at least so much of its surface: a ball 3 mm across, half of it.
LEAST_LUMP_MM2 = 7.0
# Its rim, facing down or sideways, is before nothing that the other saw: so far it goes on where no other saw it.
RIM_MM = 2.0


def seen_from(places: Array, normals: Array, other: Target) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Which points stand before the other's surface for certain, which perhaps, and which lie on it.

    places, normals : (n, 3) in the other's frame
    """
    near = other.tree.query(places, k=NEIGHBOURS)[1]
    facing = np.einsum("nkj,nj->nk", other.cloud.normals[near], normals)
    apart = places[:, None] - other.cloud.points_mm[near]
    away = np.einsum("nkj,nkj->nk", apart, other.cloud.normals[near])
    aside = np.sqrt(np.maximum(np.einsum("nkj,nkj->nk", apart, apart) - away**2, 0.0))
    beneath = aside < 1.3 * other.cloud.spacing_mm
    same = (beneath & (np.abs(away) < CONFIRMED_MM) & (facing > ALIKE_COSINE)).any(axis=1)
    before = (beneath & (away > LEAST_BEFORE_MM) & (away < MOST_BEFORE_MM))[:, 0]
    return before & (facing[:, 0] > ALIKE_COSINE), before & (facing[:, 0] > ANY_COSINE), same


def _may_hold_a_lump(places: Array, normals: Array, other: Target) -> bool:
    """Whether enough points of a foot stand before the other's surface for certain; seldom, and told in a third of the
    time that all of a lump takes."""
    beside_mm = 1.3 * other.cloud.spacing_mm
    far_mm = float(np.hypot(MOST_BEFORE_MM, beside_mm)) + 1e-6
    distance, near = other.tree.query(places, distance_upper_bound=far_mm)
    met = np.isfinite(distance)
    near, normals, places = near[met], normals[met], places[met]
    facing = np.einsum("nj,nj->n", other.cloud.normals[near], normals)
    away = np.einsum("nj,nj->n", places - other.cloud.points_mm[near], other.cloud.normals[near])
    before = (away > LEAST_BEFORE_MM) & (away < MOST_BEFORE_MM) & (facing > ALIKE_COSINE)
    return int(before.sum()) >= LEAST_POINTS


def hanging_on(seeds: BoolArray, allowed: BoolArray, points_mm: Array, reach_mm: float) -> BoolArray:
    """The allowed points that hang together with many seeds; none where they are too few for a lump."""
    found = np.zeros(len(allowed), dtype=bool)
    chosen = np.flatnonzero(allowed)
    if len(chosen) < LEAST_POINTS or (seeds & allowed).sum() < LEAST_POINTS:
        return found
    pairs = cKDTree(points_mm[chosen]).query_pairs(reach_mm, output_type="ndarray")
    count, lump = components(len(chosen), pairs[:, 0].astype(np.int64), pairs[:, 1].astype(np.int64))
    enough = np.bincount(lump[seeds[chosen]], minlength=count) >= LEAST_POINTS
    found[chosen[enough[lump]]] = True
    return found


def lump_before(view: View, places: Array, normals: Array, other: Target) -> BoolArray:
    """Which of a view's points are a lump at its foot that the other shows is not there, (n,).

    places, normals : (n, 3) of all of its points in the other's frame
    """
    found = np.zeros(len(places), dtype=bool)
    if not _may_hold_a_lump(places[view.foot], normals[view.foot], other):
        return found
    low = np.flatnonzero(view.low)
    points, spacing_mm = view.cloud.points_mm[low], view.cloud.spacing_mm
    certain, perhaps, same = seen_from(places[low], normals[low], other)
    lump = hanging_on(certain & view.foot[low], perhaps & ~same, points, 2.0 * spacing_mm)
    if lump.sum() * spacing_mm**2 < LEAST_LUMP_MM2:
        return found
    beside = cKDTree(points[lump]).query(points, distance_upper_bound=RIM_MM)[0] < RIM_MM
    found[low] = lump | (beside & ~same)
    return found
