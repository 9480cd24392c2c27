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

from verifier.comparing.pose import moved
from verifier.joining.arranging import Arrangement
from verifier.joining.view import View

# Views that make a surface of which more than this looks one way show one side of a part, and no whole one.
MOST_ONE_WAY = 0.5
# A scan shows a part down to this above what it stood on, the blend to the table counted (common practice, no source).
UNSEEN_FOOT_MM = 3.0
# Share of a view that may be stray points.
STRAY_SHARE = 0.01


def may_be_one_side(way: Arrangement, best: Arrangement, views: Sequence[View]) -> bool:
    """Whether a way fits better than the best, and stands behind it only because it makes less than a whole part.

    So it is with a part that is its own twin turned over, too. There each view ends at the face that another shows.
    """
    better = way.worth < best.worth and way.fit > best.fit and way.one_way <= MOST_ONE_WAY
    return better and hangs_out_mm(best, views) > UNSEEN_FOOT_MM


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
