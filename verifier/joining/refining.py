"""From a rim laid on another in plan to a pose in space: nearest surface that faces the same way, and nothing else.

Setting points against the nearest surface whichever way it faces pulls the top of a thin part onto its bottom: the turn
then looks perfect and the error is the thickness. So places are matched by where they are and which way they face.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from verifier.joining.laid_together import moved
from verifier.joining.outline import Laid
from verifier.joining.profile import RimHeights
from verifier.joining.side import Side
from verifier.mesh import Array, BoolArray, IntArray

# A quarter of a right angle between two directions counts like this many spacings between two places.
FACING_SPACINGS = 4.0
SAME_WAY = np.cos(np.radians(35.0))
# Distances believed at each step, as a share of the part's length (2 mm on 1.2 m are a 600th).
GATES = (1 / 100, 1 / 200, 1 / 400, 1 / 600, 1 / 800, 1 / 1000, 1 / 1200)
CLEAN_GATES = (1 / 1000, 1 / 1000, 1 / 1200, 1 / 1500, 1 / 1500)
LEAST_GATE_MM = 0.4
COARSE_POINTS, FINE_POINTS = 2500, 9000
# Mean normals of the two sides of one part agree within this: 0.01 to 0.06 degrees on simulated scans, warp 0.3 mm.
TILT_RAD = np.radians(0.08)
# How much a place that a crease may have pulled is worth against one out of its reach.
TAINTED_WORTH = 0.02
# Heights of two rims are compared where they are this near in plan, as a share of the part's length.
BESIDE_SHARE = 1 / 120
# Neighbours share their errors: however many places are matched, they count as no more than this many.
MOST_COUNT = 200.0
# A difference of scale is believed beyond this: under it, warp of 0.1 mm looks the same.
LEAST_SCALE = 4e-4


@dataclass(frozen=True, slots=True)
class Refined:
    """A pose of the second side in the first side's frame, and how the overlap fits.

    pose : (4, 4) similarity
    points : (k,) numbers of the second side's points that were looked at
    feet_mm, facing : (k, 3) nearest places of the first side and their directions
    off_mm : (k,) distance across the surface
    matched : (k,) whether the place is really over the first side's surface
    """

    pose: Array
    points: IntArray
    at_mm: Array
    facing: Array
    off_mm: Array
    worth: Array
    matched: BoolArray


def start_pose(laid: Laid, first: RimHeights, second: RimHeights) -> Array:
    """The plan's turn and shift, and the height from how high the two rims lie, (4, 4); mean normals stay together."""
    c, s = np.cos(laid.turn_rad), np.sin(laid.turn_rad)
    pose = np.eye(4)
    pose[:2, :2], pose[:2, 3] = [[c, -s], [s, c]], laid.shift_mm
    at = moved(second.at_mm, pose)
    _, near = cKDTree(first.at_mm[:, :2]).query(at[:, :2])
    pose[2, 3] = np.median(first.at_mm[near, 2] - at[:, 2])
    return pose


class Target:
    """The first side's rim, to be asked for the nearest place that faces a given way."""

    def __init__(self, side: Side, heights: RimHeights) -> None:
        self.side, self.heights = side, heights
        self.weight_mm = FACING_SPACINGS * side.spacing_mm
        self.tree = cKDTree(np.column_stack([side.points_mm, self.weight_mm * side.normals]))
        self.rim_tree = cKDTree(heights.at_mm[:, :2])

    def nearest(self, at_mm: Array, facing: Array, reach_mm: float) -> tuple[IntArray, Array]:
        """Numbers of the nearest corners, and how far they are."""
        asked = np.column_stack([at_mm, self.weight_mm * facing])
        found = self.tree.query(asked, distance_upper_bound=reach_mm + self.weight_mm)[1]
        found = np.minimum(found, len(self.side.points_mm) - 1)
        return found, np.linalg.norm(at_mm - self.side.points_mm[found], axis=1)


def refine(
    pose: Array, target: Target, second: Side, heights: RimHeights, *, most_points: int, with_scale: bool
) -> Refined:
    """Bring the second side nearer and nearer.

    second : in a frame that looks the first one's way
    """
    points = _spread(second, most_points)
    here, facing = second.points_mm[points], second.normals[points]
    length = target.side.length_mm
    worth = np.where(second.clean[points], 1.0, TAINTED_WORTH)
    for gate in (*GATES, *CLEAN_GATES):
        reach = max(gate * length, LEAST_GATE_MM)
        seen = _look(pose, here, facing, points, target, reach)
        seen_worth = worth * seen.worth if gate in CLEAN_GATES else np.ones(len(worth))
        pose = _improved(pose, seen, seen_worth, target, heights, reach, with_scale=with_scale)
    return _look(pose, here, facing, points, target, 4.0 * LEAST_GATE_MM)


def _spread(side: Side, most: int) -> IntArray:
    step = max(1, len(side.points_mm) // most)
    return np.arange(0, len(side.points_mm), step)


def _look(pose: Array, here: Array, facing: Array, points: IntArray, target: Target, reach_mm: float) -> Refined:
    at = moved(here, pose)
    way = facing @ (pose[:3, :3] / np.cbrt(np.linalg.det(pose[:3, :3]))).T
    near, away = target.nearest(at, way, reach_mm)
    normal = target.side.normals[near]
    off = np.einsum("ij,ij->i", target.side.points_mm[near] - at, normal)
    beside = np.sqrt(np.maximum(away**2 - off**2, 0.0))
    same = np.einsum("ij,ij->i", normal, way) > SAME_WAY
    matched = same & (beside < 1.2 * target.side.spacing_mm) & (np.abs(off) < reach_mm)
    worth = np.where(target.side.clean[near], 1.0, TAINTED_WORTH)
    return Refined(pose, points, at, normal, off, worth, matched)


def _improved(
    pose: Array, seen: Refined, worth: Array, target: Target, heights: RimHeights, reach_mm: float, *, with_scale: bool
) -> Array:
    """One step of least squares, far places counting less (Geman and McClure)."""
    rows, off, weight = _surface_rows(seen, worth, reach_mm)
    more, rise, rim_weight = _height_rows(pose, target, heights)
    level, lean = _tilt_rows(pose)
    matrix, wanted = np.concatenate([rows, more, level]), np.concatenate([off, rise, lean])
    scale_mm = float(np.sqrt(np.mean(matrix[:, :3] ** 2))) + 1.0
    matrix[:, :3] /= scale_mm
    matrix[:, 6] /= scale_mm
    root = np.sqrt(np.concatenate([weight, rim_weight, np.full(2, TILT_RAD**-2)]))
    used = slice(None) if with_scale else slice(0, 6)
    step = np.zeros(7)
    step[used] = np.linalg.lstsq(matrix[:, used] * root[:, None], wanted * root, rcond=1e-10)[0]
    step[[0, 1, 2, 6]] /= scale_mm
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec(np.clip(step[:3], -0.05, 0.05)).as_matrix() * (
        1.0 + np.clip(step[6], -0.003, 0.003)
    )
    motion[:3, 3] = step[3:6]
    return np.asarray(motion @ pose)


def surface_rows(at_mm: Array, facing: Array) -> Array:
    """What turn, shift and scale do to a distance across the surface, (k, 7)."""
    return np.column_stack([np.cross(at_mm, facing), facing, np.einsum("ij,ij->i", at_mm, facing)])


def _surface_rows(seen: Refined, worth: Array, reach_mm: float) -> tuple[Array, Array, Array]:
    on = seen.matched
    width = max(0.3 * reach_mm, 0.15)
    weight = worth[on] / (1.0 + (seen.off_mm[on] / width) ** 2) ** 2 / width**2
    weight *= min(1.0, MOST_COUNT / max(weight.sum() * width**2, 1e-9))
    return surface_rows(seen.at_mm[on], seen.facing[on]), seen.off_mm[on], weight


def _height_rows(pose: Array, target: Target, heights: RimHeights) -> tuple[Array, Array, Array]:
    """Rows that hold the two rims at one height; together they weigh as much as their common uncertainty lets them."""
    at = moved(heights.at_mm, pose)
    away, near = target.rim_tree.query(at[:, :2])
    rise = target.heights.at_mm[near, 2] - at[:, 2]
    good = away < BESIDE_SHARE * target.side.length_mm
    u = np.hypot(heights.u_mm, target.heights.u_mm[near])[good]
    off = rise[good] - np.median(rise[good])
    width = 3.0 * np.median(np.abs(off)) + 0.05
    weight = 1.0 / u**2 / (1.0 + (off / width) ** 2) ** 2
    common = np.hypot(heights.common_u_mm, target.heights.common_u_mm)
    weight *= min(1.0, 4.0 / common**2 / max(float(weight.sum()), 1e-9))
    return surface_rows(at[good], np.broadcast_to([0.0, 0.0, 1.0], (len(u), 3))), rise[good], weight


def _tilt_rows(pose: Array) -> tuple[Array, Array]:
    """Rows that keep the mean normals together."""
    up = pose[:3, 2] / np.linalg.norm(pose[:3, 2])
    rows = np.zeros((2, 7))
    rows[0, 0] = rows[1, 1] = 1.0
    return rows, np.array([up[1], -up[0]])
