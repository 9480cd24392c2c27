"""How high the outermost line of a rim lies, from the side that was seen well.

up |  .
   |     .        the surface nears the outermost line like a parabola; its vertex is found from the clean side
   |       .      alone, so that the crease of a skirt just below does not pull it
   |________.___ outward
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.outline import Outline
from verifier.joining.side import Side
from verifier.mesh import Array

# Places are looked at every so often along the rim, over this length of it, as shares of the part's length.
EVERY_SHARE, WINDOW_SHARE = 1 / 120, 1 / 50
# Sine of the slope up to which the surface is taken for a parabola (37 degrees: a circle is 3 % off there).
SLOPE = 0.6
LEAST_POINTS = 25
ROUNDS = 4
# Fewer windows than this are chance: the rim's fold is then taken as it was scanned, known to half a rounding of 1 mm.
LEAST_WINDOWS = 30
FOLD_MM = 0.5
# How far the vertices of one side may be off all together: 0.02 to 0.1 mm on half-round rims (simulated).
VERTEX_MM = 0.1
# A vertex further off than this share of the heights looked at is no finding.
MOST_BEYOND = 0.7


@dataclass(frozen=True, slots=True)
class RimHeights:
    """Heights of the outermost line in the side's frame.

    at_mm : (k, 3)
    u_mm : (k,) standard uncertainty of each
    common_u_mm : of all of them together
    """

    at_mm: Array
    u_mm: Array
    common_u_mm: float


def rim_heights(side: Side, outline: Outline) -> RimHeights:
    """Where the surface comes round to the outermost line; where it does not, at a knife or a flat wall, the fold."""
    at, u = _vertices(side)
    if len(at) >= LEAST_WINDOWS:
        return RimHeights(at, u, VERTEX_MM)
    # Where a skirt was cut off the surface ends well above its fold: 1 mm on each side of a simulated rim of 3 mm.
    seen = outline.chosen(outline.sure) if outline.sure.sum() >= LEAST_WINDOWS else outline
    fold = np.column_stack([seen.points_mm, seen.height_mm])
    return RimHeights(fold, np.full(len(fold), FOLD_MM), FOLD_MM)


def _vertices(side: Side) -> tuple[Array, Array]:
    round_here = side.clean & (np.abs(side.normals[:, 2]) < SLOPE)
    points, normals = side.points_mm[round_here], side.normals[round_here]
    if len(points) < LEAST_POINTS:
        return np.empty((0, 3)), np.empty(0)
    cell = np.floor(points[:, :2] / (EVERY_SHARE * side.length_mm)).astype(np.int64)
    middles = points[np.unique(cell, axis=0, return_index=True)[1], :2]
    windows = cKDTree(points[:, :2]).query_ball_point(middles, WINDOW_SHARE * side.length_mm / 2)
    found = [_vertex(points[near], normals[near]) for near in windows]
    table = np.array([(*at, *each) for at, each in zip(middles, found, strict=True) if each and each[1] < FOLD_MM])
    table = table.reshape(-1, 4)
    return table[:, :3], table[:, 3]


def _vertex(points_mm: Array, normals: Array) -> tuple[float, float] | None:
    """Height of the vertex and its standard uncertainty; None where the surface does not come round."""
    outward = normals[:, :2].mean(axis=0)
    size = float(np.linalg.norm(outward))
    if len(points_mm) < LEAST_POINTS or size < 0.5:
        return None
    outward /= size
    middle = points_mm.mean(axis=0)
    rel = points_mm - middle
    inward, along, height = -rel[:, :2] @ outward, rel[:, :2] @ np.array([-outward[1], outward[0]]), rel[:, 2]
    spread = float(np.ptp(height))
    if spread <= 0.0:
        return None
    # A circle's x^2 + h^2 is linear in x and h; written for the place across, it is a parabola and a little more.
    h, s = height / spread, along / max(float(np.ptp(along)), 1e-9)
    round_off = np.zeros_like(h)
    for _ in range(ROUNDS):
        matrix = np.column_stack([np.ones_like(h), s, s * s, h, h * h, s * h])
        fit, _, rank, _ = np.linalg.lstsq(matrix, inward - round_off, rcond=None)
        if rank < 6:
            return None
        slope, bend = float(fit[3]), float(fit[4])
        if bend <= 0.0:
            return None
        vertex = -slope / (2.0 * bend)
        sag = bend * (h - vertex) ** 2
        radius = spread**2 / (2.0 * bend)
        round_off = np.minimum(sag**2 / (2.0 * radius), 0.5 * sag)  # x of a circle less that of its parabola
    off = inward - round_off - matrix @ fit
    spread_of = np.linalg.inv(matrix.T @ matrix) * float(off @ off) / max(len(h) - 6, 1)
    if bend < 4.0 * np.sqrt(spread_of[4, 4]) or abs(vertex) > 0.5 + MOST_BEYOND:
        return None
    pull = np.array([-1.0 / (2.0 * bend), slope / (2.0 * bend**2)])
    return float(middle[2] + vertex * spread), float(np.sqrt(pull @ spread_of[3:5, 3:5] @ pull)) * spread
