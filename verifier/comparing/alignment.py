"""The value alignment gives: where a surface lies on another, how well, and which other poses do as well."""

from dataclasses import dataclass

from verifier.mesh import Array


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another pose that fits as well within the scatter.

    pose : (4, 4)
    turn_deg : how far it is turned from the pose taken
    harmless : the part is symmetric and lies on itself in this way, so every figure stays the same
    """

    pose: Array
    turn_deg: float
    harmless: bool


@dataclass(frozen=True, slots=True)
class Alignment:
    """Where the moving surface lies on the fixed one.

    pose : (4, 4), fixed = pose applied to moving
    rms_mm : of the distances along the normal where the two overlap
    overlap : 0 to 1, share of the moving surface that has the fixed one beneath it
    fixed_overlap : the same of the fixed surface
    conflict : 0 to 1, share of the overlap's sum where one surface lies wrongly before or behind the other
    alternatives : other poses that fit as well
    sure : the residual and the overlap are good enough, and no alternative would change a figure
    reason : why it is not sure; empty when it is
    """

    pose: Array
    rms_mm: float
    overlap: float
    fixed_overlap: float
    conflict: float
    alternatives: tuple[Alternative, ...]
    sure: bool
    reason: str = ""
