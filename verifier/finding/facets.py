"""A round wall as its net tells it: drawn on exact corners, scanned, or thinned."""

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
    covariance[4, 4] += lift.u_mm**2
    # Uneven facets shift the middle by what their unlike arcs leave over in the mean.
    covariance[[0, 1], [0, 1]] += 2.0 * (0.5 * lift.arc_mm) ** 2 / lift.corners
    return replace(wall, fit=replace(wall.fit, radius_mm=wall.fit.radius_mm + lift.mm), covariance=covariance)
