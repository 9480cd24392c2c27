"""How well two rims fit in a pose, in units of their own doubt, so that poses can be told from each other.

A bump of 2 mm on a rim of 3 m hardly shows in the mean misfit, and it is all that tells a part from itself turned half
round. So the rim is looked at piece by piece, and what a smooth warp of either scan would explain is taken off first.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.laid_together import moved
from verifier.joining.outline import Outline
from verifier.joining.profile import RimHeights
from verifier.joining.rows import FACING_MM, Moving, Target, believed, turned_by
from verifier.mesh import Array, IntArray

# Length of a piece of rim, as a share of the part's length.
PIECE_SHARE = 1 / 50
# A piece's middle distance is no surer than this, in height and in plan: the outermost line is flat in height and sharp
# in plan (0.3 and 0.05 mm of scatter on simulated rims), and a scanner rounds creases.
LEAST_DOUBT_MM = (0.3, 0.12)
# A piece further off than this is off; how far says nothing.
MOST_MM = 1.0
# Places where a skirt was cut off are left out where this share of the rim is without.
ENOUGH_SURE = 0.4
# Warp of one scan that is no surprise.
WARP_MM = 0.3


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the pieces of a rim say of one pose.

    at_mm : (k, 3) middles of the pieces
    off_mm : (k,) misfit beside what warp explains, in plan for the first pieces, in height for the others
    raw_mm : (k,) the same with the warp
    in_plan : (k,) which is which
    """

    at_mm: Array
    off_mm: Array
    raw_mm: Array
    in_plan: IntArray

    @property
    def rms_mm(self) -> float:
        """Of the four fifths of the pieces that fit best."""
        square = np.sort(self.raw_mm**2)[: max(1, int(0.8 * len(self.raw_mm)))]
        return float(np.sqrt(square.mean())) if len(self.raw_mm) else float("inf")

    def misfit(self, doubts_mm: Array) -> float:
        """Sum of squares in units of the doubt of one piece; no piece counts for more than the most.

        doubts_mm : (2,) of a piece in height and in plan
        """
        return float(((np.minimum(np.abs(self.off_mm), MOST_MM) / doubts_mm[self.in_plan]) ** 2).sum())

    @property
    def doubts_mm(self) -> Array:
        """Robust scatter of the pieces in height and in plan, (2,)."""
        return np.array([_scatter(self.off_mm[self.in_plan == k], LEAST_DOUBT_MM[k]) for k in (0, 1)])


def _scatter(off_mm: Array, least_mm: float) -> float:
    return max(least_mm, 1.4826 * float(np.median(np.abs(off_mm)))) if len(off_mm) else MOST_MM


def evidence_of(pose: Array, target: Target, moving: Moving) -> Evidence:
    """Look at a pose piece by piece."""
    plan_at, plan_off, facing = in_plan(pose, target.outline, moving.outline)
    rise_at, rise_off = _in_height(pose, target, moving.heights)
    piece_mm = PIECE_SHARE * target.side.length_mm
    plan = pieces_of(plan_at, plan_off, facing, piece_mm)
    rise = pieces_of(rise_at, rise_off, np.tile([0.0, 0.0, 1.0], (len(rise_at), 1)), piece_mm)
    at, off, way = (np.concatenate([one, other]) for one, other in zip(plan, rise, strict=True))
    which = np.r_[np.ones(len(plan[0]), dtype=np.int64), np.zeros(len(rise[0]), dtype=np.int64)]
    doubts = np.array(LEAST_DOUBT_MM)[which]
    return Evidence(at, _less_warp(at, off, way, doubts, target.side.length_mm), off, which)


def in_plan(pose: Array, first: Outline, second: Outline) -> tuple[Array, Array, Array]:
    """Places of the second rim, their distance from the first one across it, and the way across; both ways round."""
    at = moved(np.column_stack([second.points_mm, second.height_mm]), pose)
    way = turned_by(np.column_stack([second.facing, np.zeros(len(at))]), pose)[:, :2]
    here = np.column_stack([first.points_mm, first.height_mm])
    there = np.column_stack([at[:, :2], FACING_MM * way])
    known = np.column_stack([first.points_mm, FACING_MM * first.facing])
    near = cKDTree(known).query(there)[1]
    back = cKDTree(there).query(known)[1]
    off = np.einsum("ij,ij->i", first.points_mm[near] - at[:, :2], first.facing[near])
    off_back = np.einsum("ij,ij->i", first.points_mm - at[back, :2], first.facing)
    facing = np.concatenate([first.facing[near], first.facing])
    sure = np.concatenate([second.sure & first.sure[near], first.sure & second.sure[back]])
    used = sure if sure.mean() > ENOUGH_SURE else np.ones(len(sure), dtype=bool)
    return (
        np.concatenate([at, here])[used],
        np.concatenate([off, off_back])[used],
        np.column_stack([facing, np.zeros(len(facing))])[used],
    )


def _in_height(pose: Array, target: Target, heights: RimHeights) -> tuple[Array, Array]:
    at = moved(heights.at_mm, pose)
    near = target.rim_tree.query(at[:, :2])[1]
    return at, target.heights.at_mm[near, 2] - at[:, 2]


def pieces_of(at_mm: Array, off_mm: Array, way: Array, piece_mm: float) -> tuple[Array, Array, Array]:
    """Middle, middle distance and mean way of every piece of the rim."""
    if len(at_mm) == 0:
        return np.empty((0, 3)), np.empty(0), np.empty((0, 3))
    cell = np.floor(at_mm[:, :2] / piece_mm).astype(np.int64)
    name = np.unique(cell, axis=0, return_inverse=True)[1]
    order = np.lexsort((off_mm, name))
    starts = np.flatnonzero(np.r_[True, np.diff(name[order]) > 0])
    count = np.diff(np.r_[starts, len(order)])
    middle = order[starts + count // 2]  # the piece's median
    mean = np.column_stack([np.bincount(name, at_mm[:, k]) for k in range(3)]) / count[:, None]
    ways = np.column_stack([np.bincount(name, way[:, k]) for k in range(3)]) / count[:, None]
    return mean, off_mm[middle], ways


def _less_warp(at_mm: Array, off_mm: Array, way: Array, doubts_mm: Array, length_mm: float) -> Array:
    """What is left when a smooth bend, small enough to be no surprise, has explained what it can."""
    if len(off_mm) < 20:
        return off_mm
    x, y = (2.0 * at_mm[:, :2] / length_mm).T
    bends = np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3])
    matrix = (bends[:, :, None] * way[:, None, :]).reshape(len(x), -1)
    left = off_mm
    for _ in range(4):
        scale = max(1.0, 1.4826 * float(np.median(np.abs(left / doubts_mm))))
        weight = believed(left / doubts_mm, 3.0 * scale) / (scale * doubts_mm) ** 2
        normal = (matrix * weight[:, None]).T @ matrix + np.eye(matrix.shape[1]) / WARP_MM**2
        left = off_mm - matrix @ np.linalg.solve(normal, matrix.T @ (weight * off_mm))
    return np.asarray(left)
