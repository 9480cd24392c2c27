"""One round wall: its cylinder fitted clear of its ends, held square to its mouth where it is too shallow to stand."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.finding.arcs import raised_mm
from verifier.finding.doubt import fit_covariance, scatter_ratio
from verifier.finding.feature import Noise, Plane
from verifier.finding.fits import CylinderFit, fit_circle, fit_cylinder, frame_along
from verifier.finding.rings import Ring, arc_deg
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray, IntArray

# A scanner rounds every mouth over about its point spacing; 0.4 mm from each end the wall is the wall.
END_TRIM_MM = 0.4
# Of a mouth seen 1.4 mm deep, trimming 0.4 mm twice would leave two rows of points; 0.2 mm leaves three.
SHALLOW_TRIM = 0.15
MOST_SECTORS = 36
# An axis known no better than this is held square to its mouth: moulded bores stand square to a third of a degree
# (common practice, no source), so that holding does no more harm than this.
HELD_ABOVE_RAD = np.radians(0.3)
SQUARE_U_RAD = np.radians(0.3)
LEAST_POINTS = 20


@dataclass(frozen=True, slots=True)
class Wall:
    """A ring with its cylinder fitted, not yet named.

    points : (k,) the surface's points the cylinder was fitted to
    held : 'own', or the plane its axis was held square to
    covariance : (5, 5) of shift u, shift v, tilt u, tilt v and radius, at the axis point
    segments_mm : stretches of the axis that were seen, from the axis point
    """

    ring: Ring
    fit: CylinderFit
    points: IntArray
    held: str
    covariance: Array
    segments_mm: tuple[tuple[float, float], ...]

    @property
    def depth_mm(self) -> float:
        """Length along the axis that was seen."""
        return sum(high - low for low, high in self.segments_mm)

    @property
    def rms_mm(self) -> float:
        """Of the points about the cylinder, by their weights in the fit."""
        return float(np.sqrt(np.average(self.fit.residuals_mm**2, weights=self.fit.weights)))

    @property
    def u_axis_rad(self) -> float:
        """Standard uncertainty of the axis' direction."""
        return float(np.sqrt(max(self.covariance[2, 2], self.covariance[3, 3])))


def trimmed_wall(surface: Surface, ring: Ring, planes: Sequence[Plane], noise: Noise) -> Wall | None:
    """The ring's cylinder, fitted clear of its ends; None where nearly nothing is left."""
    points = _trimmed(surface, ring)
    return fitted_wall(surface, replace(ring, points=points), planes, noise) if len(points) >= LEAST_POINTS else None


def seen_arc_deg(surface: Surface, wall: Wall) -> float:
    """How much of the turn was seen, by the points that count in the fit."""
    u, v, _ = frame_along(wall.fit.axis)
    rel = surface.points_mm[wall.points[wall.fit.weights > 0.0]] - wall.fit.axis_point_mm
    return arc_deg(np.arctan2(rel @ v, rel @ u), surface.spacing_mm / wall.fit.radius_mm)


def fitted_wall(surface: Surface, ring: Ring, planes: Sequence[Plane], noise: Noise) -> Wall:
    """The cylinder through all the ring's points; its axis its own, or the mouth plane's where it would be unsure."""
    at = raised_mm(surface, ring.points, ring.axis_point_mm, ring.axis, ring.radius_mm)
    least = max(noise.white_mm, 1e-4)
    free = fit_cylinder(at, start=(ring.axis_point_mm, ring.axis, ring.radius_mm), robust=True, least_spread_mm=least)
    covariance = _covariance(free, at, noise)
    mouth = _mouth_plane(ring, planes, free, float(np.sqrt(max(covariance[2, 2], covariance[3, 3]))))
    if mouth is None or float(np.sqrt(max(covariance[2, 2], covariance[3, 3]))) < HELD_ABOVE_RAD:
        return _wall(ring, free, at, "own", covariance)
    axis = mouth.normal * np.sign(mouth.normal @ free.axis)
    held = _held_fit(at, axis, free, least)
    covariance = _held_covariance(held, at, noise, float(np.hypot(mouth.u_tilt_rad, SQUARE_U_RAD)))
    return _wall(ring, held, at, mouth.name, covariance)


def _wall(ring: Ring, fit: CylinderFit, at: Array, held: str, covariance: Array) -> Wall:
    return Wall(ring, fit, ring.points, held, covariance, _segments((at - fit.axis_point_mm) @ fit.axis))


def _held_fit(at: Array, axis: Array, free: CylinderFit, least: float) -> CylinderFit:
    u, v, w = frame_along(axis)
    flat = np.column_stack([at @ u, at @ v])
    start = np.array([free.axis_point_mm @ u, free.axis_point_mm @ v])
    circle = fit_circle(flat, start=(start, free.radius_mm), robust=True, least_spread_mm=least)
    point = u * circle.centre_mm[0] + v * circle.centre_mm[1] + w * float(np.average(at @ w, weights=circle.weights))
    return CylinderFit(point, w, circle.radius_mm, circle.residuals_mm, circle.weights)


def _slope(fit: CylinderFit, at: Array) -> Array:
    u, v, w = frame_along(fit.axis)
    rel = at - fit.axis_point_mm
    x, y, z = rel @ u, rel @ v, rel @ w
    distance = np.maximum(np.hypot(x, y), 1e-9)
    c, s = x / distance, y / distance
    return np.column_stack([c, s, z * c, z * s, np.ones_like(z)])


def _covariance(fit: CylinderFit, at: Array, noise: Noise) -> Array:
    kept = fit.weights > 0.2
    slope = _slope(fit, at[kept])
    return fit_covariance(slope, at[kept], noise) * _rougher(slope, fit.residuals_mm[kept], at[kept], noise)


def _held_covariance(fit: CylinderFit, at: Array, noise: Noise, tilt_u_rad: float) -> Array:
    kept = fit.weights > 0.2
    slope = _slope(fit, at[kept])
    rougher = _rougher(slope, fit.residuals_mm[kept], at[kept], noise)
    covariance = np.zeros((5, 5))
    covariance[np.ix_([0, 1, 4], [0, 1, 4])] = rougher * fit_covariance(slope[:, [0, 1, 4]], at[kept], noise)
    covariance[[2, 3], [2, 3]] = tilt_u_rad**2
    return covariance


def _rougher(slope: Array, residuals_mm: Array, at: Array, noise: Noise) -> float:
    """By how much the wall's variance exceeds that of the flats, at least 1; lobes, taper and barrel are form."""
    c, s = slope[:, 0], slope[:, 1]
    z = slope[:, 2] * c + slope[:, 3] * s
    form = [c * c - s * s, 2.0 * s * c, c * (4.0 * c * c - 3.0), s * (3.0 - 4.0 * s * s), z, z * z]
    return max(1.0, scatter_ratio(np.column_stack([slope, *form]), residuals_mm, at, noise))


def _mouth_plane(ring: Ring, planes: Sequence[Plane], fit: CylinderFit, u_axis_rad: float) -> Plane | None:
    """The plane about square to the ring (12 degrees) at one of its ends that the wall's own axis is nearest to.

    Of those that it does not tell apart the largest: a bore through a wedge is square to one of two faces.
    """
    square = np.cos(np.radians(12.0))
    mouths = [plane for plane in planes if abs(float(plane.normal @ ring.axis)) > square and _at_mouth(plane, fit)]
    off_rad = [float(np.linalg.norm(np.cross(plane.normal, fit.axis))) for plane in mouths]
    return next((plane for plane, off in zip(mouths, off_rad, strict=True) if off <= min(off_rad) + u_axis_rad), None)


def _at_mouth(plane: Plane, fit: CylinderFit) -> bool:
    """Whether some of the plane lies within two radii of where the axis meets it."""
    meets = fit.axis_point_mm + fit.axis * float(
        (plane.centre_mm - fit.axis_point_mm) @ plane.normal / (fit.axis @ plane.normal)
    )
    near = np.linalg.norm(plane.points_mm - meets, axis=1).min()
    return bool(near < 2.0 * fit.radius_mm + 2.0)


def _trimmed(surface: Surface, ring: Ring) -> IntArray:
    """Points of the ring that lie END_TRIM_MM from its ends."""
    u, v, w = frame_along(ring.axis)
    rel = surface.points_mm[ring.points] - ring.axis_point_mm
    angle = np.arctan2(rel @ v, rel @ u)
    return np.asarray(ring.points[clear_of_ends(angle, rel @ w, ring.radius_mm, surface.spacing_mm)])


def clear_of_ends(angle_rad: Array, along_mm: Array, radius_mm: float, spacing_mm: float) -> BoolArray:
    """Which points of a round side lie END_TRIM_MM from its ends, judged sector by sector (ends may be slanted), (n,).

    along_mm : (n,) way up the side
    """
    sectors = int(np.clip(2.0 * np.pi * radius_mm / (3.0 * spacing_mm), 6, MOST_SECTORS))
    sector = ((angle_rad / (2.0 * np.pi) + 0.5) * sectors).astype(int) % sectors
    low, high = np.full(sectors, np.inf), np.full(sectors, -np.inf)
    np.minimum.at(low, sector, along_mm)
    np.maximum.at(high, sector, along_mm)
    low, high = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
    trim = np.minimum(END_TRIM_MM, SHALLOW_TRIM * (high - low))
    return np.asarray((along_mm >= (low + trim)[sector]) & (along_mm <= (high - trim)[sector]))


def _segments(along_mm: Array, gap_mm: float = 1.5) -> tuple[tuple[float, float], ...]:
    """Stretches of the axis that were seen, parted where nothing was seen for 1.5 mm."""
    z = np.sort(along_mm)
    breaks = np.flatnonzero(np.diff(z) > gap_mm)
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(z) - 1]])
    return tuple((float(z[a]), float(z[b])) for a, b in zip(starts, ends, strict=True))
