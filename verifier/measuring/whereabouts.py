"""Words for where on the part a thing lies, so that a row's name says which one it is."""

from dataclasses import dataclass

import numpy as np

from verifier.finding.feature import Features
from verifier.mesh import Array

# A third of the length to either side is an end.
MIDDLE_THIRD = (0.36, 0.64)
# One end is the long one when it reaches so much of the length farther from the largest bore than the other.
LONGER_BY = 0.1


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """The part's length as a line to place things on.

    start_mm : (3,) its low end; along : (3,) unit; length_mm
    anchor : where along it the largest bore or boss lies, 0 to 1; the middle where there is none
    """

    start_mm: Array
    along: Array
    length_mm: float
    anchor: float

    def share(self, point_mm: Array) -> float:
        """How far along the length a point lies, 0 to 1."""
        return float((point_mm - self.start_mm) @ self.along) / max(self.length_mm, 1e-9)

    def word(self, point_mm: Array) -> str:
        """'long end', 'short end' (as seen from the largest bore), 'one end', 'other end' or 'middle'."""
        share = self.share(point_mm)
        if MIDDLE_THIRD[0] < share < MIDDLE_THIRD[1]:
            return "middle"
        low_reach, high_reach = self.anchor, 1.0 - self.anchor
        if abs(low_reach - high_reach) < LONGER_BY:
            return "one end" if share < 0.5 else "other end"
        return "long end" if (share > 0.5) == (high_reach > low_reach) else "short end"


def whereabouts(features: Features) -> Whereabouts | None:
    """The line along the part's length; None where no length was found."""
    length = next((extent for extent in features.extents if extent.name == "length"), None)
    if length is None:
        return None
    along = length.direction
    start = length.ends_mm[0] if float((length.ends_mm[1] - length.ends_mm[0]) @ along) > 0.0 else length.ends_mm[1]
    line = Whereabouts(np.asarray(start), along, length.length_mm, 0.5)
    largest = max((*features.bores, *features.bosses), key=lambda c: c.diameter_mm, default=None)
    if largest is None:
        return line
    return Whereabouts(line.start_mm, along, line.length_mm, line.share(largest.axis_point_mm))
