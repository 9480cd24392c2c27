"""The way two bores both run, along which the distance of their axes is seen."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.finding.feature import Cylinder, Plane
from verifier.measuring.candidate import root_sum_square, unit
from verifier.mesh import Array

# Two bores are taken as parallel up to this angle between their axes. The axis of a bore seen 2 mm deep is uncertain by
# 1 to 5 degrees; drawn angles between bores of moulded parts are hardly ever under 15.
PARALLEL_AXES_DEG = 10.0
# Moulded bores stand square to their face to a third of a degree (common practice, no source); views laid a little
# wrong on each other turn the axis of a short wall by as much again, and nothing in its scatter shows it.
SQUARE_U_RAD = np.radians(0.3)
WITHIN_U = 3.0


@dataclass(frozen=True, slots=True)
class SharedWay:
    """How two bores run.

    direction : (3,) unit
    own : (3,) unit, the mean of their own axes; u_own_rad, its standard uncertainty
    face : what they stand square to; None where nothing but their own axes says how they run
    """

    direction: Array
    own: Array
    u_own_rad: float
    face: Plane | None

    def u_along(self, way: Array) -> float:
        """Standard uncertainty of the direction's turn towards a way square to it, radians.

        How far the axes lean off the face beyond what their own uncertainty explains may be the part's: a distance over
        pins is then seen along them, one in a drawing square to the face (a rectangular distribution between both).
        """
        if self.face is None:
            return self.u_own_rad
        lean = float(self.own @ way)
        unexplained = np.sqrt(max(lean**2 - self.u_own_rad**2, 0.0) / 3.0)
        return root_sum_square(self.face.u_rise(way), float(unexplained))


def shared_way(one: Cylinder, other: Cylinder, faces: Sequence[Plane]) -> SharedWay | None:
    """Square to the best-known of the faces that both may stand square to, else along their mean axis.

    None where they are not parallel. What turns one short wall's axis often turns the other's alike (views laid a
    little wrong on each other), so the mean of two is taken to be no surer than one.
    """
    cosine = float(one.axis @ other.axis)
    if abs(cosine) < np.cos(np.radians(PARALLEL_AXES_DEG)):
        return None
    own = unit(one.axis + np.sign(cosine) * other.axis)
    u_own = 0.5 * (one.u_axis_rad + other.u_axis_rad)
    square = [face for face in faces if _may_be_square(one, face) and _may_be_square(other, face)]
    best = min(square, key=lambda face: face.u_tilt_rad, default=None)
    if best is None or best.u_tilt_rad > u_own:
        return SharedWay(own, own, u_own, None)
    return SharedWay(best.normal * np.sign(best.normal @ own), own, u_own, best)


def _may_be_square(bore: Cylinder, face: Plane) -> bool:
    lean = float(np.arccos(min(1.0, abs(float(bore.axis @ face.normal)))))
    return lean < WITHIN_U * root_sum_square(bore.u_axis_rad, face.u_tilt_rad, SQUARE_U_RAD)
