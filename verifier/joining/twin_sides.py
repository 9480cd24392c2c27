"""Whether two ways of laying side on side make one and the same part, so that it does not matter which is taken."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.evidence import PIECE_SHARE, in_plan, pieces_of
from verifier.joining.laid_together import moved
from verifier.joining.outline import Outline
from verifier.joining.rows import Moving, Target
from verifier.joining.side import Side
from verifier.joining.trimming import LEVEL
from verifier.mesh import Array, BoolArray

# Ways whose parts differ by less than this anywhere are one part: half of what a join is allowed to be off.
ALIKE_MM = 0.5
# Share of the places that may differ by more: ragged ends of the scans. A bump 50 mm long is more of a rim of 3 m.
STRAY_SHARE = 0.015
# The face is compared this many spacings away from its rim, with the plane of so many places.
INNER_SPACINGS, AROUND = 10.0, 12
# A boss of 40 mm is less of a face than its ragged places are. It is where most neighbours of a place are off as well,
# each by more than three spreads of the places that its height was taken from.
BESIDE, MISSED_BESIDE, SPREADS = 9, 7, 3.0


def alike(pose: Array, other: Array, first: Moving | Target, second: Moving | Target) -> bool:
    """Whether two poses give one and the same part, because either side looks the same moved from one to the other."""
    motion = np.linalg.inv(pose) @ other  # in the second side's frame
    back = other @ np.linalg.inv(pose)
    return any(
        _rim_stays(each.outline, move, each.side.length_mm) and _face_stays(each.side, move)
        for each, move in ((second, motion), (first, back))
    )


def _rim_stays(outline: Outline, motion: Array, length_mm: float) -> bool:
    """Whether a rim, moved, lies on itself in plan, piece by piece."""
    sure = outline if not outline.sure.any() else outline.chosen(outline.sure)
    at, off, way = in_plan(motion, outline, sure)
    if len(off) == 0:
        return False
    pieces_mm = pieces_of(at, off, way, PIECE_SHARE * length_mm)[1]
    return bool(np.quantile(np.abs(pieces_mm), 1.0 - STRAY_SHARE) < ALIKE_MM)


def _face_stays(side: Side, motion: Array) -> bool:
    """Whether the thinned face, moved, lies on itself, but for single places.

    The mean normal says how a side leans, and is the same after a motion that lays the side on itself: only the turn
    and the shift in plan are asked, so that a thicker end is not taken for a lean of the pose.
    """
    inner = cKDTree(side.rim_mm[:, :2]).query(side.face_mm[:, :2])[0] > INNER_SPACINGS * side.spacing_mm
    points = side.face_mm[inner]
    if len(points) < AROUND:
        return True
    asked = moved(points, _in_plan_alone(motion))
    rise, spread, _, known = rises(asked, points)
    if known.sum() < BESIDE:
        return True
    off = np.abs(rise - np.median(rise[known]))[known]
    if np.quantile(off, 1.0 - STRAY_SHARE) >= ALIKE_MM:
        return False
    missed = off > ALIKE_MM + SPREADS * spread[known]
    beside = cKDTree(asked[known]).query(asked[known], k=BESIDE)[1]
    return not bool((missed & (missed[beside].sum(axis=1) >= MISSED_BESIDE)).any())


def rises(asked: Array, points: Array) -> tuple[Array, Array, Array, BoolArray]:
    """Heights of the planes of the nearest points in plan over places, those points' spread about it, how level the
    plane is, and which are to be used.

    A height is none where the points end, and on walls, where a small shift makes a large one. Each (k,).
    """
    reach, near = cKDTree(points[:, :2]).query(asked[:, :2], k=AROUND)
    apart = points[near] - asked[:, None]
    middle = apart.mean(axis=1)
    spread, axes = np.linalg.eigh(
        np.einsum("nki,nkj->nij", apart, apart) / AROUND - middle[:, :, None] * middle[:, None]
    )
    normal = axes[:, :, 0]
    goes_on = np.linalg.norm(middle[:, :2], axis=1) < 0.5 * reach[:, -1]
    level = np.abs(normal[:, 2]) > LEVEL
    rise = -np.einsum("ij,ij->i", middle, normal) / np.where(level, normal[:, 2], 1.0)
    return rise, np.sqrt(np.maximum(spread[:, 0], 0.0)), np.abs(normal[:, 2]), goes_on & level


def _in_plan_alone(motion: Array) -> Array:
    """The turn about the upright axis and the shift across it, (4, 4)."""
    turn = np.arctan2(motion[1, 0], motion[0, 0])
    flat = np.eye(4)
    flat[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
    flat[:2, 3] = motion[:2, 3]
    return flat
