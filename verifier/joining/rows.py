"""What holds two sides in place, as rows of least squares: turn (3), shift (3) and scale (1) against a distance."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.dots.dot import NO_DOTS, Dots
from verifier.joining.dots.matching import fixes_pose, matched, one_mm
from verifier.joining.laid_together import moved
from verifier.joining.outline import Outline
from verifier.joining.profile import RimHeights
from verifier.joining.side import Side
from verifier.mesh import Array, BoolArray, IntArray

# A right angle between two directions counts like this many spacings between two places.
FACING_SPACINGS = 4.0
# Weight of the direction against the place when the nearest place of an outline is looked up.
FACING_MM = 12.0
SAME_WAY = np.cos(np.radians(35.0))
# Mean normals of the two sides of one part agree within this: 0.01 to 0.06 degrees on simulated scans, warp 0.3 mm.
TILT_RAD = np.radians(0.08)
# Where sides are seen far past a thick rim they end at different heights of it: by 1.1 degrees on 300 x 130 mm.
EASED_TILT_RAD = np.radians(1.0)
# How much a place that a crease may have pulled is worth against one out of its reach.
TAINTED_WORTH = 0.02
# Creases pull all such places alike: 0.1 mm inward on each side on simulated scans.
TAINTED_MM = 0.15
# Neighbours share their errors: however many places are matched, they count as no more than this many.
MOST_COUNT = 200.0
# Outlines of two sides of one rim agree within this all together: half of a rounding by the scanner.
OUTLINE_MM = 0.15
# How much a place of an outline is worth where the surface was not seen turning under, against one where it was.
UNSEEN_WORTH = 0.1
# Middles of one dot in two scans agree within this along each axis on simulated scans, and within a share of the part's
# length: warp.
DOT_MM, DOT_SHARE = 0.15, 1 / 4000
# Heights of two rims are compared where they are this near in plan, as a share of the part's length.
BESIDE_SHARE = 1 / 120


@dataclass(frozen=True, slots=True)
class Rows:
    """Wanted distances, what a small motion does to them, and how much each counts.

    matrix : (k, 7); wanted : (k,); weight : (k,) one over the square of its uncertainty
    """

    matrix: Array
    wanted: Array
    weight: Array


@dataclass(frozen=True, slots=True)
class Moving:
    """The second side, in a frame that looks the first one's way."""

    side: Side
    outline: Outline
    heights: RimHeights
    dots: Dots = NO_DOTS


class Target:
    """The first side's rim, to be asked for the nearest place that faces a given way."""

    def __init__(self, side: Side, outline: Outline, heights: RimHeights, dots: Dots = NO_DOTS) -> None:
        self.side, self.outline, self.heights, self.dots = side, outline, heights, dots
        self.weight_mm = FACING_SPACINGS * side.spacing_mm
        self.tree = cKDTree(np.column_stack([side.points_mm, self.weight_mm * side.normals]))
        self.plan_tree = cKDTree(np.column_stack([outline.points_mm, FACING_MM * outline.facing]))
        self.rim_tree = cKDTree(heights.at_mm[:, :2])

    def nearest(self, at_mm: Array, facing: Array, reach_mm: float) -> tuple[IntArray, Array]:
        """Numbers of the nearest corners, and how far they are."""
        asked = np.column_stack([at_mm, self.weight_mm * facing])
        found = self.tree.query(asked, distance_upper_bound=reach_mm + self.weight_mm)[1]
        found = np.minimum(found, len(self.side.points_mm) - 1)
        return found, np.linalg.norm(at_mm - self.side.points_mm[found], axis=1)


@dataclass(frozen=True, slots=True)
class Seen:
    """Places of the second side on the first one's surface, (k, …).

    at_mm, facing : the place, and the way the first side faces at the corner nearest to it
    off_mm : distance across the surface
    worth : less where a crease may have pulled either
    matched : whether the place is really over the first side's surface
    """

    at_mm: Array
    facing: Array
    off_mm: Array
    worth: Array
    matched: BoolArray


def look(pose: Array, side: Side, points: IntArray, target: Target, reach_mm: float) -> Seen:
    """Where some corners of the second side come to lie on the first."""
    at, way = moved(side.points_mm[points], pose), turned_by(side.normals[points], pose)
    near, away = target.nearest(at, way, reach_mm)
    normal = target.side.normals[near]
    off = np.einsum("ij,ij->i", target.side.points_mm[near] - at, normal)
    beside = np.sqrt(np.maximum(away**2 - off**2, 0.0))
    same = np.einsum("ij,ij->i", normal, way) > SAME_WAY
    matched = same & (beside < 1.2 * target.side.spacing_mm) & (np.abs(off) < reach_mm)
    clean = side.clean[points] & target.side.clean[near]
    return Seen(at, normal, off, np.where(clean, 1.0, TAINTED_WORTH), matched)


def turned_by(directions: Array, pose: Array) -> Array:
    """Directions as a pose turns them, without its scale."""
    return np.asarray(directions @ (pose[:3, :3] / np.cbrt(np.linalg.det(pose[:3, :3]))).T)


def distance_rows(at_mm: Array, facing: Array) -> Array:
    """What turn, shift and scale do to a distance across the surface, (k, 7)."""
    return np.column_stack([np.cross(at_mm, facing), facing, np.einsum("ij,ij->i", at_mm, facing)])


def believed(off: Array, width: float) -> Array:
    """Weight of a distance that may be a mistake (Geman and McClure 1987): 1 at nought, a quarter at the width."""
    return np.asarray(1.0 / (1.0 + (off / width) ** 2) ** 2)


def surface_rows(seen: Seen, reach_mm: float, *, only_clean: bool) -> Rows:
    """Rows that bring matched places onto the surface."""
    on = seen.matched
    width = max(0.3 * reach_mm, 0.15)
    weight = believed(seen.off_mm[on], width) * (seen.worth[on] if only_clean else 1.0)
    if only_clean:
        tainted = seen.worth[on] < 1.0
        most = (width / TAINTED_MM) ** 2
        weight[tainted] *= min(1.0, most / max(float(weight[tainted].sum()), 1e-9))
    weight *= min(1.0, MOST_COUNT / max(float(weight.sum()), 1e-9)) / width**2
    return Rows(distance_rows(seen.at_mm[on], seen.facing[on]), seen.off_mm[on], weight)


def outline_rows(pose: Array, moving: Moving, target: Target) -> Rows:
    """Rows that bring the outlines together in plan, across the rim."""
    at = moved(np.column_stack([moving.outline.points_mm, moving.outline.height_mm]), pose)
    way = turned_by(np.column_stack([moving.outline.facing, np.zeros(len(at))]), pose)[:, :2]
    away, near = target.plan_tree.query(np.column_stack([at[:, :2], FACING_MM * way]))
    facing = target.outline.facing[near]
    off = np.einsum("ij,ij->i", target.outline.points_mm[near] - at[:, :2], facing)
    width = 3.0 * float(np.median(np.abs(off))) + 0.1
    seen = np.where(moving.outline.sure & target.outline.sure[near], 1.0, UNSEEN_WORTH)
    weight = believed(off, width) * (away <= np.quantile(away, 0.85)) * seen
    weight *= 4.0 / OUTLINE_MM**2 / max(float(weight.sum()), 1e-9)
    return Rows(distance_rows(at, np.column_stack([facing, np.zeros(len(at))])), off, weight)


def height_rows(pose: Array, moving: Moving, target: Target) -> Rows:
    """Rows that hold the two rims at one height; together they weigh as much as their common uncertainty lets them."""
    at = moved(moving.heights.at_mm, pose)
    away, near = target.rim_tree.query(at[:, :2])
    rise = target.heights.at_mm[near, 2] - at[:, 2]
    good = away < BESIDE_SHARE * target.side.length_mm
    off = rise[good] - np.median(rise[good]) if good.any() else rise[good]
    width = 3.0 * float(np.median(np.abs(off))) + 0.05 if len(off) else 1.0
    weight = believed(off, width) / (moving.heights.u_mm[good] ** 2 + target.heights.u_mm[near][good] ** 2)
    common = np.hypot(moving.heights.common_u_mm, target.heights.common_u_mm)
    weight *= min(1.0, 4.0 / common**2 / max(float(weight.sum()), 1e-9))
    up = np.broadcast_to([0.0, 0.0, 1.0], (len(off), 3))
    return Rows(distance_rows(at[good], up), rise[good], weight)


def tilt_rows(pose: Array, *, eased: bool) -> Rows:
    """Rows that keep the mean normals together; eased : where dots say the tilt, for sides seen far past the rim."""
    up = pose[:3, 2] / np.linalg.norm(pose[:3, 2])
    matrix = np.zeros((2, 7))
    matrix[0, 0] = matrix[1, 1] = 1.0
    return Rows(matrix, np.array([up[1], -up[0]]), np.full(2, (EASED_TILT_RAD if eased else TILT_RAD) ** -2))


def dot_rows(pose: Array, moving: Moving, target: Target) -> Rows:
    """Rows that bring the marker dots that both sides show onto each other; none where they fix no pose."""
    pairs = matched(target.dots, moving.dots, pose)
    here = target.dots.at_mm[pairs[:, 0]]
    if not fixes_pose(here):
        return Rows(np.empty((0, 7)), np.empty(0), np.empty(0))
    at = moved(moving.dots.at_mm[pairs[:, 1]], pose)
    matrix = np.concatenate([distance_rows(at, np.broadcast_to(axis, at.shape)) for axis in np.eye(3)])
    wanted = (here - at).T.ravel()
    spread_mm = float(np.hypot(DOT_MM, DOT_SHARE * target.side.length_mm))
    return Rows(matrix, wanted, believed(wanted, one_mm(target.dots, moving.dots)) / spread_mm**2)
