"""Lips along the rim of a flat: a scanner that fuses its pictures in cells may raise a sharp edge by half a cell."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.finding.feature import Noise, Plane
from verifier.finding.surface import Surface
from verifier.mesh import Array

# A lip lies along the rim, within three cells of the wall that falls away there: so far behind a surface a picture
# still counts (common practice, no source). The cell is about the point spacing.
RIM_SPACINGS = 3.0
MOST_RISE_SPACINGS, MOST_RISE_MM = 0.5, 0.3
# Less than this is the flat's own scatter.
LEAST_RISE_MM, RISE_SIGMAS = 0.02, 3.0
# So much of what stands above the flat lies at its rim; a pad or a letter away from the rim is the part's.
AT_THE_RIM = 0.98
# A flat this many spacings wide is one to rest on, and a lip is small against it.
LEAST_WIDTH_SPACINGS, MOST_OF_FLAT = 5.0, 0.5
# Of a narrow strip all lies near its rim, and a lip cannot be told from a lever's flank that leans.
MOST_ALL_RIM = 0.8


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
    steep = np.abs(surface.normals @ direction.astype(np.float32)) < 0.5
    falls = steep & (height < 0.0) & (height > -RIM_SPACINGS * surface.spacing_mm)
    if area_mm2 > MOST_OF_FLAT * flat.area_mm2 or not falls.any():
        return False
    walls, near_mm = cKDTree(surface.points_mm[falls]), RIM_SPACINGS * surface.spacing_mm
    if np.mean(walls.query(flat.points_mm)[0] < near_mm) > MOST_ALL_RIM:
        return False
    at_rim = walls.query(surface.points_mm[proud])[0] < near_mm
    return float(surface.areas_mm2[proud[at_rim]].sum()) >= AT_THE_RIM * area_mm2
