"""The direction in which a part is pulled or bent, as its sheet names it."""

from collections.abc import Sequence

import numpy as np

from verifier.finding.feature import Features
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.rulebook import Sheet


def load_direction(sheet: Sheet, found: Features, sizes: Sequence[Size]) -> Array | None:
    """Unit direction from the first to the second end of the load, square to the first one's axis.

    None where the sheet names no load, or its ends were not found. Of equal bores it does not matter which is which.
    """
    if sheet.load_ends is None:
        return None
    by_row = {size.name: sorted(size.set_features or size.features) for size in sizes}
    one, other = (by_row.get(row, []) for row in sheet.load_ends)
    names = one if one == other and len(one) == 2 else [*one[:1], *other[:1]]
    ends = [each for name in names for each in found.cylinders if each.name == name]
    if len(ends) != 2:
        return None
    span = ends[1].axis_point_mm - ends[0].axis_point_mm
    span = span - (span @ ends[0].axis) * ends[0].axis
    length = float(np.linalg.norm(span))
    return span / length if length > 0.0 else None
