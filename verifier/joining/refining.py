"""From a rim laid on another in plan to a pose in space: nearest surface that faces the same way, and nothing else.

Setting points against the nearest surface whichever way it faces pulls the top of a thin part onto its bottom: the turn
then looks perfect and the error is the thickness. So places are matched by where they are and which way they face.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from verifier.joining.continuing import CarriedOn, carried_on, carried_rows
from verifier.joining.laid_together import moved
from verifier.joining.outline import Laid
from verifier.joining.profile import RimHeights
from verifier.joining.rows import (
    Moving,
    Rows,
    Seen,
    Target,
    dot_rows,
    height_rows,
    look,
    outline_rows,
    surface_rows,
    tilt_rows,
)
from verifier.joining.side import Side
from verifier.mesh import Array, IntArray

# Distances believed at each step, as a share of the part's length (2 mm on 1.2 m are a 600th); in the last steps only
# places out of reach of a crease count in full.
GATES = (1 / 100, 1 / 200, 1 / 400, 1 / 600, 1 / 800, 1 / 1000, 1 / 1200)
CLEAN_GATES = (1 / 1000, 1 / 1000, 1 / 1200, 1 / 1500, 1 / 1500)
LEAST_GATE_MM = 0.4
COARSE_POINTS, FINE_POINTS = 2500, 9000
# A difference of scale is believed beyond this: under it, warp of 0.1 mm looks the same.
LEAST_SCALE = 4e-4
# One step turns and stretches no further than this: the rows hold for small motions.
MOST_TURN_RAD, MOST_STRETCH = 0.05, 0.003


@dataclass(frozen=True, slots=True)
class Refined:
    """A pose of the second side in the first side's frame, (4, 4), and what holds it there.

    seen : how its corners lie on the first side
    rim : both rims carried on to each other, where they were asked and are round
    """

    pose: Array
    seen: Seen
    rim: CarriedOn | None


def start_pose(laid: Laid, first: RimHeights, second: RimHeights) -> Array:
    """The plan's turn and shift, and the height from how high the two rims lie, (4, 4); mean normals stay together."""
    c, s = np.cos(laid.turn_rad), np.sin(laid.turn_rad)
    pose = np.eye(4)
    pose[:2, :2], pose[:2, 3] = [[c, -s], [s, c]], laid.shift_mm
    at = moved(second.at_mm, pose)
    _, near = cKDTree(first.at_mm[:, :2]).query(at[:, :2])
    pose[2, 3] = np.median(first.at_mm[near, 2] - at[:, 2])
    return pose


def refine(pose: Array, target: Target, moving: Moving, *, finely: bool, with_scale: bool) -> Refined:
    """Bring the second side nearer and nearer; finely : with more points, and both rims carried on at the end."""
    points = _spread(moving.side, FINE_POINTS if finely else COARSE_POINTS)
    rim = None
    for step, gate in enumerate((*GATES, *CLEAN_GATES)):
        if step == len(GATES) and finely:
            rim = carried_on(pose, target.side, moving.side)
        reach_mm = max(gate * target.side.length_mm, LEAST_GATE_MM)
        seen = look(pose, moving.side, points, target, reach_mm)
        rows = holding(Refined(pose, seen, rim), target, moving, reach_mm, only_clean=step >= len(GATES))
        pose = _motion(rows, with_scale=with_scale) @ pose
    return Refined(pose, look(pose, moving.side, points, target, 4.0 * LEAST_GATE_MM), rim)


def holding(found: Refined, target: Target, moving: Moving, reach_mm: float, *, only_clean: bool) -> tuple[Rows, ...]:
    """Everything that holds the second side in place: surface, heights of the rims, and what says little of these."""
    pose, by_dots = found.pose, dot_rows(found.pose, moving, target)
    return (
        surface_rows(found.seen, reach_mm, only_clean=only_clean),
        height_rows(pose, moving, target) if found.rim is None else carried_rows(pose, found.rim),
        outline_rows(pose, moving, target),
        tilt_rows(pose, eased=len(by_dots.wanted) > 0),
        by_dots,
    )


def _spread(side: Side, most: int) -> IntArray:
    return np.arange(0, len(side.points_mm), max(1, len(side.points_mm) // most))


def _motion(rows: tuple[Rows, ...], *, with_scale: bool) -> Array:
    """The small motion that serves all rows best, (4, 4)."""
    matrix = np.concatenate([each.matrix for each in rows])
    wanted = np.concatenate([each.wanted for each in rows])
    root = np.sqrt(np.concatenate([each.weight for each in rows]))
    lever_mm = float(np.sqrt(np.mean(matrix[:, :3] ** 2))) + 1.0  # turns and shifts then have figures of one size
    unit = np.array([lever_mm, lever_mm, lever_mm, 1.0, 1.0, 1.0, lever_mm])
    used = 7 if with_scale else 6
    step = np.zeros(7)
    step[:used] = np.linalg.lstsq((matrix / unit)[:, :used] * root[:, None], wanted * root, rcond=1e-10)[0]
    step /= unit
    motion = np.eye(4)
    motion[:3, :3] = Rotation.from_rotvec(np.clip(step[:3], -MOST_TURN_RAD, MOST_TURN_RAD)).as_matrix()
    motion[:3, :3] *= 1.0 + np.clip(step[6], -MOST_STRETCH, MOST_STRETCH)
    motion[:3, 3] = step[3:6]
    return motion
