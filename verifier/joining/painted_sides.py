"""Which way of laying rim on rim the paint of two sides tells from the others."""

from collections.abc import Sequence

import numpy as np

from verifier.comparing.cloud import Cloud
from verifier.joining.laid_together import moved
from verifier.joining.paint import Painted, painted
from verifier.joining.paint_told import likeness, patches_of, tells_from
from verifier.joining.rows import SAME_WAY, Moving, Target, turned_by
from verifier.joining.side import Side
from verifier.mesh import Array

# Corners of two scans of one place lie this near each other.
BESIDE_SPACINGS = 1.2


def side_told_by_paint(poses: Sequence[Array], target: Target, moving: Moving) -> int | None:
    """The number of the pose whose sides are painted alike where they overlap, and no other's; None if none is told.

    poses : (4, 4) each, of the second side in the first one's frame
    """
    first, second = _paint_of(target.side), _paint_of(moving.side)
    if first is None or second is None:
        return None
    alike = [likeness([patches_of(second, first, *_on_each_other(pose, target, moving.side))]) for pose in poses]
    for k, each in enumerate(alike):
        if len(alike) > 1 and all(tells_from(each, other) for j, other in enumerate(alike) if j != k):
            return k
    return None


def _paint_of(side: Side) -> Painted | None:
    """Away from where a skirt was cut off: its colour is drawn into the crease."""
    cloud = Cloud(side.points_mm, side.normals, side.spacing_mm)
    return painted(side.scan, cloud, side.clean, to_scan=np.asarray(np.linalg.inv(side.to_side)))


def _on_each_other(pose: Array, target: Target, side: Side) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of the second side's corners and of the first one's beneath them."""
    reach_mm = BESIDE_SPACINGS * max(side.spacing_mm, target.side.spacing_mm)
    at, facing = moved(side.points_mm, pose), turned_by(side.normals, pose)
    found, away_mm = target.nearest(at, facing, reach_mm)
    alike = np.einsum("ij,ij->i", facing, target.side.normals[found]) > SAME_WAY
    on = np.flatnonzero(alike & (away_mm < reach_mm))
    return on, found[on]
