"""A round wall as its net tells it: drawn on exact corners, scanned, fused in cells, or thinned."""

from dataclasses import replace

from verifier.finding.arcs import lift_of
from verifier.finding.feature import Noise
from verifier.finding.surface import Surface
from verifier.finding.walls import Wall

# Corners this near one circle, against the height of the arc over the facets, were put there by a drawing program.
EXACT_SHARE = 0.15


def with_facets(surface: Surface, wall: Wall, noise: Noise) -> Wall:
    """The wall lifted off the circle of its corners, thinned or smoothed, with what that leaves unsure.

    A drawing may lay corners or facets on the wall, so that half the height of the arc, r (1 - cos(pi / n)), is added
    to what the radius of exact corners is unsure by.
    """
    lift = lift_of(surface, wall.points, wall.fit, noise)
    covariance = wall.covariance.copy()
    if surface.coarse and wall.rms_mm < EXACT_SHARE * lift.longest_arc_mm:
        covariance[4, 4] += (0.5 * lift.longest_arc_mm) ** 2
        return replace(wall, covariance=covariance)
    drawn_in_mm = _drawn_in_mm(surface, wall)
    covariance[4, 4] += lift.u_mm**2 + drawn_in_mm**2 / 12.0
    # Uneven facets shift the middle by what their unlike arcs leave over in the mean.
    covariance[[0, 1], [0, 1]] += 2.0 * (0.5 * lift.arc_mm) ** 2 / lift.corners
    radius_mm = wall.fit.radius_mm + lift.mm + 0.5 * drawn_in_mm
    return replace(wall, fit=replace(wall.fit, radius_mm=radius_mm), covariance=covariance)


def _drawn_in_mm(surface: Surface, wall: Wall) -> float:
    """The most that a wall was drawn towards its axis where pictures were fused in cells.

    A picture taken past a boss sees what lies behind it, and calls cells empty that the wall runs through: what it
    falls away by over one cell. Nothing is seen past the wall of a bore, but all looks into it are steep, and a cell
    beside the wall reckons with the plane where a look meets it: the arc over one cell. Half of the most is given back
    (JCGM 100:2008, 4.3.7).
    """
    over_one_cell = surface.cell_mm**2 / wall.fit.radius_mm
    return over_one_cell / (2.0 if wall.ring.kind == "boss" else 8.0)
