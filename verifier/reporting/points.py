"""A place or a direction as the report writes it."""

from verifier.inspection import Point
from verifier.mesh import Array


def as_point(vector: Array) -> Point:
    """Three plain numbers of an array (3,)."""
    x, y, z = (float(value) for value in vector)
    return x, y, z
