"""Round walls of a coarse net: where the true wall lies against its facets, and how well that is known."""

from dataclasses import replace

import numpy as np

from verifier.finding.surface import Surface
from verifier.finding.walls import Wall
from verifier.mesh import Array

# Corners this near one circle, against the height of the arc over the facets, were put there by a drawing program.
EXACT_SHARE = 0.15
FEWEST_CORNERS = 6


def with_facets(surface: Surface, wall: Wall) -> Wall:
    """The wall as its facets tell it: on exact corners where they have a circle, else as fitted.

    The height of the arc over a facet, r (1 - cos(pi / n)), is added to what the radius is unsure by: whole where the
    corners scatter (a thinned scan), half where they do not, since a drawing may also lay its facets on the wall.
    """
    if not surface.coarse:
        return wall
    chord = float(np.median(surface.chord_mm[wall.points]))
    off = _corners_off_axis_mm(surface, wall, chord)
    exact = len(off) >= FEWEST_CORNERS and float(np.std(off)) < EXACT_SHARE * chord
    radius = float(off.mean()) if exact else wall.fit.radius_mm
    covariance = wall.covariance.copy()
    covariance[4, 4] += (0.5 * chord if exact else chord) ** 2
    # Which facets were drawn shifts the middle at most as much as it shifts the radius.
    covariance[[0, 1], [0, 1]] += 0.0 if exact else chord**2
    return replace(wall, fit=replace(wall.fit, radius_mm=radius), covariance=covariance)


def _corners_off_axis_mm(surface: Surface, wall: Wall, chord_mm: float) -> Array:
    """Distance from the axis of the solid's own corners on the wall, (k,); those on rounded mouths do not count."""
    points = surface.points_of(surface.faces_of(wall.points))
    own = points[points < surface.corner_count]
    rel = surface.points_mm[own] - wall.fit.axis_point_mm
    off = np.linalg.norm(rel - (rel @ wall.fit.axis)[:, None] * wall.fit.axis, axis=1)
    return np.asarray(off[np.abs(off - wall.fit.radius_mm) < 2.0 * chord_mm])
