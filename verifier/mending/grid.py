"""The points that the space around holes is looked at in: how far they reach, and how far apart they are."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.mending.forms import Flat, Form, Round
from verifier.mesh import Array

# Beyond the rims so much of their reach and a millimetre more: two faces meet over a corner 0.7 reaches from the rim's
# plane, and one reach from the line between the cut ends of a corner that is gone. No farther from the middle than the
# last figure, which holds that corner whichever way it lies.
ROOM = 0.7
ROOM_BETWEEN = 1.0
ROOM_ABOUT = 1.3
# No more points than this, two seconds; they are as far apart as the scan's corners as long as that is enough.
MOST_POINTS = 700_000
# A wall is lost between points further apart than so much of its thickness; a bore, of its width.
OF_THINNEST = 0.45
# Nothing thinner than the first is asked for: the thinnest moulded wall (1 mm, common practice, no source). Where all
# is thicker than the second, chords of round walls decide: 0.05 mm on one of 2 mm radius.
THINNEST_MM = (1.0, 2.0)
# Two flats are the sides of one wall or slot where they look opposite ways within so much (cosine of 11 degrees).
OPPOSITE = -0.98


@dataclass(frozen=True, slots=True)
class Grid:
    """Points of a box, so many along each axis and `step_mm` apart, from `low_mm` on."""

    low_mm: Array
    step_mm: float
    counts: tuple[int, int, int]

    @property
    def points_mm(self) -> Array:
        """All points, (n, 3), the last axis running fastest."""
        axes = (self.step_mm * np.arange(count) for count in self.counts)
        return np.asarray(self.low_mm + np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3))


def room_around(rim_mm: Array, reach_mm: float, *, several: bool) -> Array:
    """Lowest and highest corner of the box to look at, (2, 3).

    rim_mm : (n, 3) rims, from their middle; reach_mm : how far they go from there; several : more than one rim
    """
    room, about = (ROOM_BETWEEN if several else ROOM) * reach_mm + 1.0, ROOM_ABOUT * reach_mm + 1.0
    return np.asarray(np.clip([rim_mm.min(axis=0) - room, rim_mm.max(axis=0) + room], -about, about))


def farthest_mm(reach_mm: float) -> float:
    """How far from the middle of rims any such box may go, whichever way it is turned."""
    return float(np.sqrt(3.0) * (ROOM_ABOUT * reach_mm + 1.0))


def grid_in(box_mm: Array, spacing_mm: float, forms: Sequence[Form]) -> Grid | None:
    """The finest grid that is worth it; None where one of so many points would lose the thinnest of the forms.

    box_mm : (2, 3); spacing_mm : between the corners of the scan
    """
    sides = box_mm[1] - box_mm[0]
    step_mm = max(spacing_mm, float(np.cbrt(sides.prod() / MOST_POINTS)))
    if step_mm > max(spacing_mm, OF_THINNEST * thinnest_mm(forms)):
        return None
    x, y, z = (int(side / step_mm) + 1 for side in sides)
    return Grid(box_mm[0], step_mm, (x, y, z))


def thinnest_mm(forms: Sequence[Form]) -> float:
    """The least thickness of a wall, or width of a slot, between two flats, or width of a bore, in bounds."""
    flats = [form for form in forms if isinstance(form, Flat)]
    walls = [
        float(one.off_mm(other.at_mm[None])[0])
        for k, one in enumerate(flats)
        for other in flats[:k]
        if one.normal @ other.normal < OPPOSITE
    ]
    bores = [2.0 * form.radius_mm for form in forms if isinstance(form, Round) and form.outward < 0]
    return float(np.clip(min(map(abs, walls + bores), default=np.inf), *THINNEST_MM))
