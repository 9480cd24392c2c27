"""How far apart two rims are in height, from both surfaces carried on across the rim.

first side's  . . .
          .
        (           what lies between was seen by neither side, or pulled by the crease of a skirt; but both
          .         belong to one round rim, which bends alike on both sides and stands out equally far in plan
second side's . . .
"""

from dataclasses import dataclass, replace

import numpy as np

from verifier.joining.laid_together import moved
from verifier.joining.profile import LEAST_WINDOWS, VERTEX_MM
from verifier.joining.rim_circles import circles_in
from verifier.joining.rim_windows import Windows, windows_along
from verifier.joining.rows import Rows, believed, distance_rows
from verifier.joining.side import Side
from verifier.mesh import Array

# A rim flatter at its middle than this, or sharper, beyond doubt, is not round: half-round ones come to 0.25 at most on
# simulated scans, those with a flat of 2 to 6 mm between two roundings to 0.6 at least. One known no better is not.
MOST_FLAT, FLAT_FOR_SURE = 0.4, 3.0


@dataclass(frozen=True, slots=True)
class CarriedOn:
    """Where places on the second side's rim belong by the surfaces of both.

    from_mm : (k, 3) in the second side's frame
    to_mm, up : (k, 3) where they belong, along which way, in the first side's frame
    u_mm : (k,) standard uncertainty of each; common_u_mm : of all of them together
    is_round : whether one round rim goes through both surfaces
    """

    from_mm: Array
    to_mm: Array
    up: Array
    u_mm: Array
    common_u_mm: float
    is_round: bool


def carried_on(pose: Array, first: Side, second: Side) -> CarriedOn | None:
    """Carry both sides on across the rim; None where too little of it is seen to be round."""
    windows = windows_along(pose, first, second)
    circles = None if windows is None else circles_in(windows, first.length_mm)
    if windows is None or circles is None or circles.known.sum() < LEAST_WINDOWS:
        return None
    known = circles.known
    at, up, u = windows.middle_mm[known], windows.up[known], circles.u_mm[known]
    # What a window misjudges (where its places were cut off, the rim's own shape) its neighbours misjudge too.
    common = float(np.hypot(np.hypot(VERTEX_MM, VERTEX_MM), np.median(u)))
    is_round = circles.flat_u < MOST_FLAT and abs(circles.flat) < max(MOST_FLAT, FLAT_FOR_SURE * circles.flat_u)
    if not is_round:
        common = max(common, _wall_u_mm(windows))
    back: Array = np.asarray(np.linalg.inv(pose), dtype=np.float64)
    return CarriedOn(moved(at, back), at + circles.rise_mm[known, None] * up, up, u, common, is_round)


def hidden_wall_u_mm(pose: Array, first: Side, second: Side) -> float:
    """What an upright wall adds that shows only where a crease may have pulled the surface, nought where there is none.

    A crease pulls its places inward: a rim seems sharper by that at its middle, and never flatter.
    """
    one, other = (replace(side, clean=np.ones_like(side.clean)) for side in (first, second))
    windows = windows_along(pose, one, other)
    if windows is None or circles_in(windows, first.length_mm).flat < MOST_FLAT:
        return 0.0
    return _wall_u_mm(windows)


def _wall_u_mm(windows: Windows) -> float:
    """Standard uncertainty of how far apart the sides of a wall are, in the middle of all windows.

    Between the two it may go on for as much as they lie apart; and they lie on each other as well with either of them
    higher or lower by all that the one which shows less shows of it.
    """
    return float(np.median(np.maximum(windows.apart_mm, windows.shown_mm / np.sqrt(3.0))))


def carried_rows(pose: Array, rim: CarriedOn) -> Rows:
    """Rows that bring the rims to where their surfaces meet; together they weigh what their common u lets them."""
    at = moved(rim.from_mm, pose)
    wanted = np.einsum("ij,ij->i", rim.to_mm - at, rim.up)
    off = wanted - np.median(wanted)
    width = 3.0 * float(np.median(np.abs(off))) + 0.05
    weight = believed(off, width) / rim.u_mm**2
    weight *= min(1.0, 4.0 / rim.common_u_mm**2 / max(float(weight.sum()), 1e-9))
    return Rows(distance_rows(at, rim.up), wanted, weight)
