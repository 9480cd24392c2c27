"""The polygon a bore is printed as: its flats touch the wanted circle, so that a pin of that size goes in."""

import math

import numpy as np

from verifier.mesh import Array

# Fewer sides than this feel like flats, whatever the loss allows.
LEAST_SIDES = 12


def sides_for(diameter_mm: float, loss_mm: float) -> int:
    """Sides of a polygon that is across its flats no more than loss_mm smaller than across its corners.

    n >= pi / arccos(1 - t / D), from D cos(pi / n) >= D - t.
    """
    if loss_mm >= diameter_mm:
        return LEAST_SIDES
    return max(LEAST_SIDES, math.ceil(math.pi / math.acos(1.0 - loss_mm / diameter_mm)))


def facet_loss_mm(diameter_mm: float, sides: int) -> float:
    """How much smaller a polygon is across its flats than across its corners, D (1 - cos(pi / n))."""
    return diameter_mm * (1.0 - math.cos(math.pi / sides))


def corner_radius_mm(diameter_mm: float, sides: int) -> float:
    """How far the corners of the polygon with this diameter across its flats lie from its middle."""
    return 0.5 * diameter_mm / math.cos(math.pi / sides)


def corners_round(diameter_mm: float, sides: int) -> Array:
    """Corners of the polygon with this diameter across its flats, anticlockwise, (n, 2)."""
    radius_mm = corner_radius_mm(diameter_mm, sides)
    angles = 2.0 * np.pi * np.arange(sides) / sides
    return radius_mm * np.column_stack([np.cos(angles), np.sin(angles)])
