"""Bores of few points: where trimming the ends of a wall leaves too little of it, all of it but what strays."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from verifier.finding.feature import Noise, Plane
from verifier.finding.rings import MOST_LEAN, SHIELD_COSINE, Ring
from verifier.finding.surface import Surface
from verifier.finding.walls import LEAST_POINTS, Wall, fitted_wall
from verifier.mesh import BoolArray, IntArray

# A row goes all the way round, so what strays into a ring from its lips is the first and the last tenth of its points.
STRAY = 0.1
# What lies beside a bore within this of its wall is the wall, its lips or its rounded mouths.
BESIDE_MM = 0.4
# Of what lies between the rows, so much is on them: two lips have the wall between them, and it stands back.
LEAST_ON_WALL = 0.8


def shallow_wall(
    surface: Surface, ring: Ring, free: BoolArray, band_mm: float, planes: Sequence[Plane], noise: Noise
) -> Wall | None:
    """A bore's cylinder through all its rows of points, none trimmed; None where they are lips or hardly any.

    free : (n,) points it may have; band_mm : how far off a circle they may lie by their scatter
    On a net so coarse for its bore a corner lies off the wall by up to the arc over a cell's diagonal besides. Whether
    a row next to a mouth belongs to the wall or to its rounding nothing tells: the radius is then unsure by the band,
    any value in it as likely (JCGM 100:2008, 4.3.7).
    """
    if ring.kind != "bore":
        return None
    reach_mm = band_mm + surface.spacing_mm**2 / (4.0 * ring.radius_mm)
    points, beside = _rows(surface, ring, free, reach_mm)
    if len(points) < LEAST_POINTS or len(points) < LEAST_ON_WALL * beside:
        return None
    wall = fitted_wall(surface, replace(ring, points=points), planes, noise)
    covariance = wall.covariance.copy()
    covariance[4, 4] += band_mm**2 / 3.0
    return replace(wall, covariance=covariance)


def _rows(surface: Surface, ring: Ring, free: BoolArray, reach_mm: float) -> tuple[IntArray, int]:
    """Points within reach of a ring's circle between its first and last row, and how many lie there or close by."""
    along = (surface.points_mm[ring.points] - ring.axis_point_mm) @ ring.axis
    low, high = np.quantile(along, [STRAY, 1.0 - STRAY])
    rel = surface.points_mm - ring.axis_point_mm
    height = rel @ ring.axis
    beside = np.flatnonzero(surface.seen & (height >= low) & (height <= high))
    away = rel[beside] - height[beside, None] * ring.axis
    off = np.linalg.norm(away, axis=1)
    normals = surface.normals[beside].astype(np.float64)
    facing = -np.einsum("ij,ij->i", normals, away) > SHIELD_COSINE * off
    wall = facing & (np.abs(normals @ ring.axis) < MOST_LEAN) & (np.abs(off - ring.radius_mm) < BESIDE_MM)
    on = wall & (np.abs(off - ring.radius_mm) < reach_mm)
    return beside[on & free[beside]], int(wall.sum())
