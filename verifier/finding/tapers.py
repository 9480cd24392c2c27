"""Round walls that taper: draft of a bore or boss, or a cone of which only a slice looked like one."""

import numpy as np

from verifier.finding.cones import Side, fitted_side
from verifier.finding.feature import Noise
from verifier.finding.fits import frame_along
from verifier.finding.rings import SHIELD_COSINE
from verifier.finding.surface import Surface
from verifier.finding.walls import END_TRIM_MM, Wall
from verifier.mesh import Array, BoolArray, IntArray

# Normals of a straight wall lean against its axis by 0.3 degrees in the mean at most (the axis is no better known).
LEANS_DEG = 0.7
# Moulded walls have 0.5 to 2 degrees of draft to each side (common practice, no source); what tapers by more than this
# was meant to be a cone.
MOST_DRAFT_DEG = 3.0
# A slice of a taper gains by this when the rest of it is taken in.
LEAST_GAIN = 1.25
ROUNDS = 3


def tapered_side(surface: Surface, wall: Wall, free: BoolArray, band_mm: float, noise: Noise) -> Side | None:
    """The cone of which a round wall is a slice, with all of it that is free; None where the wall is straight.

    free : (n,) points in no plane and no other wall, the wall's own among them
    """
    start = _start(surface, wall)
    if start is None:
        return None
    side: Side | None = None
    for _ in range(ROUNDS):
        patch = _gathered(surface, free, start, wall, band_mm)
        side = None if len(patch) == 0 else fitted_side(surface, patch, start, noise)
        if side is None:
            return None
        start = (side.fit.axis_point_mm, side.fit.axis, side.fit.radius_mm, side.fit.half_rad)
    if side is None or side.fit.half_rad < 3.0 * np.sqrt(side.covariance[5, 5]):
        return None
    gain = surface.areas_mm2[side.whole].sum() / max(surface.areas_mm2[wall.points].sum(), 1e-9)
    return side if gain > LEAST_GAIN or is_cone(side) else None


def is_cone(side: Side) -> bool:
    """Whether it tapers by more than draft."""
    return bool(side.fit.half_rad > np.radians(MOST_DRAFT_DEG))


def round_about(surface: Surface, side: Side) -> BoolArray:
    """Points on the side or on the rounded edges beside it, so that these are not taken for more, (n,)."""
    fit = side.fit
    rel = surface.points_mm - fit.axis_point_mm
    along = rel @ fit.axis
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    away = (off - fit.radius_mm) * np.cos(fit.half_rad) - along * np.sin(fit.half_rad)
    low, high = side.low_mm - 2.0 * END_TRIM_MM, side.high_mm + 2.0 * END_TRIM_MM
    return np.asarray((np.abs(away) < END_TRIM_MM) & (along > low) & (along < high))


def _start(surface: Surface, wall: Wall) -> tuple[Array, Array, float, float] | None:
    fit = wall.fit
    lean = float(np.mean(surface.normals[wall.points] @ fit.axis.astype(np.float32)))
    if abs(lean) < np.sin(np.radians(LEANS_DEG)):
        return None
    # A bore's side looks up towards its wide end, a boss's down from it.
    sign = np.sign(lean) if wall.ring.kind == "bore" else -np.sign(lean)
    return fit.axis_point_mm, fit.axis * sign, fit.radius_mm, float(np.arcsin(abs(lean)))


def _gathered(
    surface: Surface, free: BoolArray, start: tuple[Array, Array, float, float], wall: Wall, band_mm: float
) -> IntArray:
    """Connected free points on the cone that face as its side does, with the wall's own among them; none without."""
    middle, axis, radius, half = start
    u, v, w = frame_along(axis)
    rel = surface.points_mm - middle
    along = rel @ w
    off = np.maximum(np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0)), 1e-9)
    away = (off - radius) * np.cos(half) - along * np.sin(half)
    chosen = np.flatnonzero(free & (np.abs(away) < band_mm + surface.chord_mm) & (off > 0.2 * radius))
    normals, near = surface.normals[chosen].astype(np.float64), rel[chosen]
    outwards = ((normals @ u) * (near @ u) + (normals @ v) * (near @ v)) / off[chosen] * np.cos(half)
    outwards -= (normals @ w) * np.sin(half)
    chosen = chosen[outwards * (1.0 if wall.ring.kind == "boss" else -1.0) > SHIELD_COSINE]
    _, patch = surface.patches(chosen)
    own = patch[np.isin(chosen, wall.points)]
    return chosen[patch == np.bincount(own).argmax()] if len(own) else np.empty(0, dtype=np.int64)
