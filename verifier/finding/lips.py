"""Lips along the rim of a flat: a scanner that fuses its pictures in cells may raise a sharp edge by half a cell."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.finding.feature import Noise, Plane
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray

# A lip lies along the rim, within three cells of the wall that falls away there: so far behind a surface a picture
# still counts (common practice, no source). The cell is about the point spacing.
RIM_SPACINGS = 3.0
MOST_RISE_SPACINGS, MOST_RISE_MM = 0.5, 0.3
# Less than this is the flat's own scatter.
LEAST_RISE_MM, RISE_SIGMAS = 0.02, 3.0
# So much of what stands above the flat lies at its rim; a pad or a letter away from the rim is the part's.
AT_THE_RIM = 0.98
# A flat this many spacings wide is one to rest on, and a lip is small against it.
# Scatter alone holds a thousandth of it above three standard deviations.
LEAST_WIDTH_SPACINGS, LEAST_OF_FLAT, MOST_OF_FLAT = 5.0, 0.005, 0.5
# Of a narrow strip all lies near its rim. A lip goes round it; what stands above it at one end is a flank that leans.
MOST_ALL_RIM, ONE_END = 0.8, 0.5
# Where the lips of two rims meet, on a ring or a rib of under six spacings, the top lay 0.09 spacings too high.
LIPS_MET_SPACINGS, FACING_COSINE = 0.1, 0.94


def lies_under_lip(surface: Surface, flat: Plane, noise: Noise, direction: Array, top_mm: float) -> bool:
    """Whether all that stands above a flat, as a foot from this direction would meet it, is a lip along its rim.

    top_mm : height of the topmost surface
    A calliper is set beside flash, and an edge of the real part has no lip.
    """
    base_mm = float(flat.centre_mm @ direction)
    floor_mm = max(LEAST_RISE_MM, RISE_SIGMAS * noise.spread_mm)
    most_mm = min(MOST_RISE_SPACINGS * surface.spacing_mm, MOST_RISE_MM)
    wide = flat.area_mm2 > (LEAST_WIDTH_SPACINGS * surface.spacing_mm) ** 2
    if not wide or not floor_mm < top_mm - base_mm < floor_mm + most_mm:
        return False
    height = surface.points_mm @ direction - base_mm
    proud = np.flatnonzero(surface.seen & (height > floor_mm))
    area_mm2 = float(surface.areas_mm2[proud].sum())
    falls = _falling_away(surface, height, direction)
    if not LEAST_OF_FLAT < area_mm2 / flat.area_mm2 < MOST_OF_FLAT or not falls.any():
        return False
    walls, near_mm = cKDTree(surface.points_mm[falls]), RIM_SPACINGS * surface.spacing_mm
    all_rim = np.mean(walls.query(flat.points_mm)[0] < near_mm) > MOST_ALL_RIM
    if all_rim and _stands_at_one_end(surface.points_mm[proud], flat.points_mm):
        return False
    at_rim = walls.query(surface.points_mm[proud])[0] < near_mm
    return float(surface.areas_mm2[proud[at_rim]].sum()) >= AT_THE_RIM * area_mm2


def lip_doubt_mm(surface: Surface, direction: Array, top_mm: float) -> float:
    """Standard uncertainty of a narrow curved top's height, whose lips of both rims may have met: nought on a wide one.

    top_mm : height of the top
    """
    height = surface.points_mm @ direction - top_mm
    facing = surface.normals @ direction.astype(np.float32) > FACING_COSINE
    cap = surface.points_mm[surface.seen & facing & (height > -surface.spacing_mm)]
    falls = _falling_away(surface, height, direction)
    if len(cap) == 0 or not falls.any():
        return 0.0
    at_rim = cKDTree(surface.points_mm[falls]).query(cap)[0] < RIM_SPACINGS * surface.spacing_mm
    return LIPS_MET_SPACINGS * surface.spacing_mm if np.mean(at_rim) > MOST_ALL_RIM else 0.0


def _falling_away(surface: Surface, height_mm: Array, direction: Array) -> BoolArray:
    """Points of walls that fall away just below the height nought, (n,)."""
    steep = np.abs(surface.normals @ direction.astype(np.float32)) < 0.5
    return np.asarray(steep & (height_mm < 0.0) & (height_mm > -RIM_SPACINGS * surface.spacing_mm))


def _stands_at_one_end(proud_mm: Array, flat_mm: Array) -> bool:
    """Whether the middle of these points lies near an end of the flat, half of the way out or more."""
    middle = flat_mm.mean(axis=0)
    along = np.linalg.svd(flat_mm - middle, full_matrices=False)[2][0]
    half_mm = 0.5 * float(np.ptp(flat_mm @ along))
    return abs(float(np.median((proud_mm - middle) @ along))) > ONE_END * half_mm
