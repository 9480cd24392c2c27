"""The least wall of a part: no feature of its own, looked for over the whole measured surface."""

from collections.abc import Mapping

import numpy as np

from verifier.finding.feature import Features
from verifier.finding.thinnest import FOOT_MM, thinnest_wall
from verifier.measuring.size import Size
from verifier.rulebook.sheet import SheetRow

WALLS = 2


def least_wall_of(features: Features, row: SheetRow, found: Mapping[str, Size]) -> Size:
    """The least wall and where it is: both ends of points_mm lie on its two sides."""
    wall = None if features.surface is None else thinnest_wall(features.surface, features.noise)
    if wall is None:
        reason = f"no wall was seen from both sides over a calliper foot of {FOOT_MM:g} mm"
        return Size(row.name, None, 0.0, WALLS, (), np.empty((0, 3)), 0.0, reason=reason)
    return Size(row.name, wall.value_mm, wall.u_mm, WALLS, (), wall.points_mm)
