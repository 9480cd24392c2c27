"""Round walls seen through a net: where the wall lies against its facets and corners, and how well that is known.

Between two corners c apart a wall of radius r rises c^2 / 8r over the facet. Which of both the wall touches hangs on
how the net was made. Points a scanner has seen lie on the wall. Corners that a thinning by quadric error has placed lie
where the tangent planes about them meet, outside a round wall, and their facets cut inside it: the wall runs between.
"""

from dataclasses import dataclass

import numpy as np

from verifier.finding.feature import Noise
from verifier.finding.fits import CylinderFit
from verifier.finding.surface import Surface
from verifier.mesh import Array, IntArray, marked_once

# Corners of a thinned net lie off the wall by this share of the arc's height: 0.1 on bores of 3 to 12 mm where half of
# the faces was collapsed, 0.5 where four fifths, 0.65 where nineteen twentieths were. How much was lost is only seen in
# that a net whose edges are long was a fine one once. Marching cubes place theirs 0.3 to 0.5 to the other side.
THINNED_CORNERS, THINNED_TO_LONG_EDGES, U_CORNERS = 0.4, 0.62, 0.25
# A scanner's points scatter each on its own by half or more of what they share; smoothed three times, by a sixth.
SMOOTHED_SHARE, LEAST_TOLD_MM = 0.25, 0.003


@dataclass(frozen=True, slots=True)
class Lift:
    """How far a wall lies off the circle of its corners, outward from the axis, mm; u_mm, its standard uncertainty.

    arc_mm, longest_arc_mm : height of the arc over the edges of the net, the mean and that of each facet's longest
    corners : how many corners of the net say so
    """

    mm: float
    u_mm: float
    arc_mm: float
    longest_arc_mm: float
    corners: int


def raised_mm(surface: Surface, points: IntArray, axis_point_mm: Array, axis: Array, radius_mm: float) -> Array:
    """Points of a round wall moved from their facets out to the arc over them, (n, 3).

    A point that lies at shares b of the corners of its facet lies under the arc by the sum of b_i b_j c_ij^2 / 2r over
    the three edges, c_ij their lengths square to the axis. Corners stay where they are.
    """
    at = surface.points_mm[points]
    if not surface.coarse:
        return at
    facets, place = np.unique(surface.facet[points], return_inverse=True)
    square, b = _edges_across_mm2(surface, facets, axis)[place], surface.share[points]
    under = np.einsum("ij,ij->i", b * np.roll(b, -1, axis=1), square) / (2.0 * radius_mm)
    off = at - axis_point_mm
    off -= (off @ axis)[:, None] * axis
    return np.asarray(at + off / np.linalg.norm(off, axis=1, keepdims=True) * np.minimum(under, radius_mm)[:, None])


def raised_of_cone_mm(
    surface: Surface, points: IntArray, axis_point_mm: Array, axis: Array, radius_mm: float, half_rad: float
) -> Array:
    """The same of a cone that widens along its axis, radius_mm being its radius at the axis point, (n, 3).

    Only what an edge goes round the axis has an arc over it; the side bends with rho / cos h.
    """
    at = surface.points_mm[points]
    if not surface.coarse:
        return at
    facets, place = np.unique(surface.facet[points], return_inverse=True)
    square, b = _edges_round_mm2(surface, facets, axis_point_mm, axis)[place], surface.share[points]
    rel = at - axis_point_mm
    off = rel - (rel @ axis)[:, None] * axis
    rho = np.maximum(np.linalg.norm(off, axis=1), 1e-12)
    under = np.einsum("ij,ij->i", b * np.roll(b, -1, axis=1), square) * np.cos(half_rad) / (2.0 * rho)
    out = off / rho[:, None] * np.cos(half_rad) - axis * np.sin(half_rad)
    return np.asarray(at + out * np.minimum(under, radius_mm)[:, None])


def arc_of_cone_mm(
    surface: Surface, points: IntArray, axis_point_mm: Array, axis: Array, radius_mm: float, half_rad: float
) -> float:
    """Height of the arc over each facet's longest way round the axis, the middle one; square to the side."""
    square = _edges_round_mm2(surface, np.unique(surface.facet[points]), axis_point_mm, axis)
    return float(np.median(square.max(axis=1))) * float(np.cos(half_rad)) / (8.0 * radius_mm)


def lift_of(surface: Surface, points: IntArray, fit: CylinderFit, noise: Noise) -> Lift:
    """The lift of a cylinder fitted to raised points.

    A smoothing over s draws a wall towards its axis by s^2 / 2r, s^2 being anything from nought to the most that the
    scatter lets it be: half of the most is given back (JCGM 100:2008, 4.3.7).
    """
    facets = marked_once(surface.facet[points], len(surface.facets))
    square = _edges_across_mm2(surface, facets, fit.axis)
    arc, longest = (float(each) / (8.0 * fit.radius_mm) for each in (square.mean(), np.median(square.max(axis=1))))
    off_wall = surface.thinned * (THINNED_TO_LONG_EDGES if surface.coarse else THINNED_CORNERS)
    corners = len(marked_once(surface.facets[facets], surface.corner_count))
    drawn_in = most_smoothing_mm2(surface, noise) / (2.0 * fit.radius_mm)
    u_mm = float(np.hypot(U_CORNERS * arc, drawn_in / np.sqrt(12.0)))
    return Lift(0.5 * drawn_in - off_wall * arc, u_mm, arc, longest, corners)


def most_smoothing_mm2(surface: Surface, noise: Noise) -> float:
    """Greatest variance of the kernel an exporter may have smoothed with; nought where points scatter on their own.

    Smoothing over s leaves no white scatter, and shares what it leaves over the root of 2 s^2 at least. Corners that
    stand for whole patches of a finer net have lost their white scatter in another way.
    """
    told = noise.correlated_mm > LEAST_TOLD_MM and not surface.coarse and surface.thinned < 0.5
    smooth = noise.white_mm < SMOOTHED_SHARE * noise.correlated_mm
    return 0.5 * noise.correlation_mm**2 if told and smooth else 0.0


def _edges_round_mm2(surface: Surface, facets: IntArray, axis_point_mm: Array, axis: Array) -> Array:
    """Squared lengths that the facets' edges go round the axis, (k, 3): the edge after each corner."""
    corners = surface.points_mm[surface.facets[facets]]
    edge, middle = np.roll(corners, -1, axis=1) - corners, corners.mean(axis=1) - axis_point_mm
    round_about = np.cross(axis, middle)
    round_about /= np.maximum(np.linalg.norm(round_about, axis=1, keepdims=True), 1e-12)
    return np.asarray(np.einsum("kej,kj->ke", edge, round_about) ** 2)


def _edges_across_mm2(surface: Surface, facets: IntArray, axis: Array) -> Array:
    """Squared lengths of the facets' edges square to the axis, (k, 3): the edge after each corner."""
    at = surface.points_mm[surface.facets[facets]]
    edge = np.roll(at, -1, axis=1) - at
    return np.asarray((edge**2).sum(axis=2) - (edge @ axis) ** 2)
