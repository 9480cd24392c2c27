"""One more overall size, along a direction the sheet asks for, such as the line between two bores."""

from collections.abc import Sequence

import numpy as np

from verifier.finding.extents import extent
from verifier.finding.feature import Extent, Features, Plane
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray


def extent_along(features: Features, direction: Array) -> Extent | None:
    """Overall size along a direction; None where the features came without the surface they were found on.

    direction : (3,), any length but nought
    """
    surface = features.surface
    if surface is None:
        return None
    on_flat = points_on_flats(surface, features.planes)
    return extent(surface, on_flat, features.planes, features.noise, direction, "extent along a line")


def points_on_flats(surface: Surface, planes: Sequence[Plane]) -> BoolArray:
    """Which points belong to planes, (n,)."""
    on_flat = np.zeros(len(surface.points_mm), dtype=bool)
    for plane in planes:
        on_flat[surface.points_of(plane.faces)] = True
    return on_flat
