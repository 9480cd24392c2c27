"""Round walls seen through a net: where the wall lies against its facets and corners, and how well that is known.

Between two corners c apart a wall of radius r rises c^2 / 8r over the facet. Which of both the wall touches hangs on
how the net was made. Points a scanner has seen lie on the wall. Corners that a thinning by quadric error has placed lie
where the tangent planes about them meet, outside a round wall, and their facets cut inside it: the wall runs between.
"""

from dataclasses import dataclass

import numpy as np

from verifier.finding.fits import CylinderFit
from verifier.finding.surface import Surface
from verifier.mesh import Array, IntArray

# Corners of a thinned net lie off the wall by this share of the arc's height: 0.1 on bores of 3 to 12 mm where half of
# the faces was collapsed, 0.5 where four fifths, 0.65 where nineteen twentieths were. How much was lost is only seen in
# that a net whose edges are long was a fine one once. Marching cubes place theirs 0.3 to 0.5 to the other side.
THINNED_CORNERS, THINNED_TO_LONG_EDGES, U_CORNERS = 0.4, 0.62, 0.25


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


def lift_of(surface: Surface, points: IntArray, fit: CylinderFit) -> Lift:
    """The lift of a cylinder fitted to raised points."""
    facets = np.unique(surface.facet[points])
    square = _edges_across_mm2(surface, facets, fit.axis)
    arc, longest = (float(each) / (8.0 * fit.radius_mm) for each in (square.mean(), np.median(square.max(axis=1))))
    off_wall = surface.thinned * (THINNED_TO_LONG_EDGES if surface.coarse else THINNED_CORNERS)
    corners = len(np.unique(surface.facets[facets]))
    return Lift(-off_wall * arc, U_CORNERS * arc, arc, longest, corners)


def _edges_across_mm2(surface: Surface, facets: IntArray, axis: Array) -> Array:
    """Squared lengths of the facets' edges square to the axis, (k, 3): the edge after each corner."""
    at = surface.points_mm[surface.facets[facets]]
    edge = np.roll(at, -1, axis=1) - at
    return np.asarray((edge**2).sum(axis=2) - (edge @ axis) ** 2)
