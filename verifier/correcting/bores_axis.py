"""The axis a bore is rebuilt on: square to the part's faces where the scan does not say otherwise."""

from collections.abc import Sequence

import numpy as np

from verifier.finding.feature import Cylinder, Plane
from verifier.mesh import Array

# A bore whose own axis lies within so many standard uncertainties of a face's normal is square to that face for all the
# scan can tell: chance leaves one in ninety square bores outside (Rayleigh's distribution of a lean of two angles).
SQUARE_WITHIN_U = 3.0


def rebuilding_axis(bore: Cylinder, planes: Sequence[Plane]) -> Array:
    """The normal of the best-known face that the bore may be square to, else its own axis, (3,), as it looks.

    Moulded bores and faces share the direction in which the mould opens (common practice, no source). A wide face
    tells it better than a short wall does; where the wall is surer, or leans for certain, its own axis stands.
    """
    square = [plane for plane in planes if _may_be_square(bore, plane)]
    best = min(square, key=lambda plane: plane.u_tilt_rad, default=None)
    return bore.axis if best is None else best.normal * np.sign(best.normal @ bore.axis)


def _may_be_square(bore: Cylinder, plane: Plane) -> bool:
    lean = float(np.arcsin(min(1.0, float(np.linalg.norm(np.cross(bore.axis, plane.normal))))))
    u = float(np.hypot(bore.u_axis_rad, plane.u_tilt_rad))
    return plane.u_tilt_rad < bore.u_axis_rad and lean < SQUARE_WITHIN_U * u
