"""Whether views that make a whole part in one way may as well be one side of it, seen twice.

      _
 ____| |____      a box open below, seen twice from above: turned over, the second view closes it, and its boss
|           |     hangs lower than the first one saw, where the part should have stood
|____   ____|
     |_|
"""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import ConvexHull

from verifier.comparing.pose import moved, pose_of, turns_about
from verifier.joining.arranging import (
    ONE_WAY_SHARE,
    RIVAL_SHARE,
    Arrangement,
    finest,
    judged,
)
from verifier.joining.view import View
from verifier.mesh import Array

# Views that make a surface of which more than this looks one way show one side of a part, and no whole one.
MOST_ONE_WAY = 0.5
# A scan shows a part down to this above what it stood on, the blend to the table counted (common practice, no source).
UNSEEN_FOOT_MM = 3.0
# Views that lie on each other by more than this show one side, or the two like sides of a part that is its own twin
# turned over: 0.93 to 0.99 of views of one side 5 to 30 degrees apart, 0.5 of the two sides of a lid.
WHOLLY = 0.9
# Share of a view that may be stray points.
STRAY_SHARE = 0.01


def may_be_one_side(way: Arrangement, best: Arrangement, views: Sequence[View]) -> bool:
    """Whether a way fits better than the best, and stands behind it only because it makes less than a whole part.

    So it is with a part that is its own twin turned over, too. There each view ends at the face that another shows, and
    only where the views wholly lie on each other can nothing of them tell such a part from one side of a box.
    """
    if way.worth >= best.worth or way.fit <= best.fit:
        return False
    if way.agree > WHOLLY:
        return True
    return way.one_way <= MOST_ONE_WAY and hangs_out_mm(best, views) > UNSEEN_FOOT_MM


def may_be_whole(best: Arrangement, views: Sequence[View], size_mm: float) -> bool:
    """Whether two views that make one side of a part would make a whole one as well, the second one turned over.

    A round cap is laid on its own other face in any of a hundred spins, and none that closes it may be among the ways
    that were found.
    """
    if len(views) != 2 or best.one_way < ONE_WAY_SHARE:
        return False
    return any(
        finest(judged({0: best.poses[0], 1: pose}, views, size_mm), views, size_mm).worth > RIVAL_SHARE * best.worth
        for pose in _turned_over(best.poses[1], views[1])
    )


def _turned_over(pose: Array, view: View) -> list[Array]:
    """The pose after half a turn of the view about its middle, about two axes across the way it was seen from."""
    points, seen_from = view.cloud.points_mm, view.cloud.normals.mean(axis=0)
    seen_from /= np.linalg.norm(seen_from)
    across = points - np.outer(points @ seen_from, seen_from)
    long = np.linalg.eigh(np.cov(across.T))[1][:, 2]
    axes = np.array([long, np.cross(seen_from, long), seen_from])
    along = points @ axes.T
    middle = 0.5 * (along.min(axis=0) + along.max(axis=0)) @ axes
    turns = (turns_about(np.pi * axis) for axis in axes[:2])
    return [np.asarray(pose @ pose_of(turn, middle - turn @ middle)) for turn in turns]


def hangs_out_mm(way: Arrangement, views: Sequence[View]) -> float:
    """How far any view reaches out of the hull of what another one shows."""
    most = -np.inf
    for k, view in enumerate(views):
        sides = ConvexHull(view.cloud.points_mm).equations
        for j, other in enumerate(views):
            if j != k:
                at = moved(np.linalg.inv(way.poses[k]) @ way.poses[j], other.asked.points_mm)
                out_mm = (at @ sides[:, :3].T + sides[:, 3]).max(axis=1)
                most = max(most, float(np.quantile(out_mm, 1.0 - STRAY_SHARE)))
    return most
