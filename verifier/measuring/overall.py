"""Overall sizes: the part's own box, or the extent along a line through two bores."""

import numpy as np

from verifier.finding.along import extent_along
from verifier.finding.feature import Cylinder, Extent, Features
from verifier.measuring.candidate import Candidate, root_sum_square
from verifier.measuring.cylinders import centre_distance
from verifier.rulebook.sheet import SheetRow

# An extent was taken along the line through two bores when it points along it within this angle: over a part of
# 100 mm by 10 mm, 2 degrees change the length by 0.06 % and 0.35 mm at the corners, so nothing wider is the same size.
ALONG_LINE_DEG = 2.0
# Which of two sides is the longer is not certain when they differ by less than this many of their uncertainties.
ORDER_CERTAIN = 4.0


def overall_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """The extent the row names; with it any other of nearly the same length, for then the order is not certain."""
    box = [extent for extent in features.extents if extent.name in ("length", "width", "height")]
    named = [extent for extent in box if row.along in (None, extent.name)]
    return [as_candidate(e) for e in box if any(e is n or _order_uncertain(e, n) for n in named)]


def along_line(features: Features, one: Cylinder, other: Cylinder) -> list[Candidate]:
    """The extents that point along the line through two axes, closest first; where none does, one taken anew."""
    line = centre_distance(one, other, features.planes)
    if line is None:
        return []
    direction = (line.points_mm[1] - line.points_mm[0]) / max(line.value, 1e-9)
    cosines = [(abs(float(extent.direction @ direction)), extent) for extent in features.extents]
    near = [pair for pair in cosines if pair[0] > np.cos(np.radians(ALONG_LINE_DEG))]
    if not near:
        anew = extent_along(features, direction)
        return [] if anew is None else [as_candidate(anew)]
    return [as_candidate(extent) for _, extent in sorted(near, key=lambda pair: -pair[0])]


def as_candidate(extent: Extent) -> Candidate:
    """An extent as a size over two coated walls."""
    return Candidate(extent.length_mm, extent.u_length_mm, 2, (extent.name,), extent.ends_mm)


def _order_uncertain(a: Extent, b: Extent) -> bool:
    apart = abs(a.length_mm - b.length_mm)
    return apart < ORDER_CERTAIN * root_sum_square(a.u_length_mm, b.u_length_mm)
