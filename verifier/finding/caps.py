"""Where a flat foot rests on a curved end: on the crest of a cylinder, or of a second-order cap."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.finding.arcs import lift_of, raised_mm
from verifier.finding.doubt import fit_covariance
from verifier.finding.feature import Noise, Plane
from verifier.finding.fits import CylinderFit, fit_cylinder, frame_along
from verifier.finding.rings import circle_by_vote, on_circle
from verifier.finding.robust import spread_mm, tukey_weights
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray, IntArray

# A wall leaning more than this from square to its axis is already its rounded edge.
MOST_LEAN = 0.2
# The crest must have been seen: some of the arc within this angle of the direction.
CREST_DEG = 10.0
LEAST_ON_CREST, LEAST_ON_ARC = 5, 40
# A second-order cap is taken over half the height while it misses the points by this much more than their scatter.
MOST_MISFIT = 1.3
LEAST_CAP_POINTS = 100
# A crest as far over all points of its cap, and four times their scatter, is of no surface.
OVER_POINTS_MM = 0.1
# A cap rises to one end where its slope there is this many of its standard uncertainties.
KNOWN_WITHIN_U = 3.0


@dataclass(frozen=True, slots=True)
class Contact:
    """Where one foot rests: height along the direction, its standard uncertainty, the place (3,), and on which flat."""

    height_mm: float
    u_mm: float
    point_mm: Array
    seat: Plane | None = None


def crest_of_round_end(
    surface: Surface,
    cap: IntArray,
    free: BoolArray,
    axes: Sequence[Array],
    noise: Noise,
    direction: Array,
    top_mm: float,
) -> Contact | None:
    """Crest of the cylinder whose arc carries the cap; None where no cylinder about any of the axes does.

    A round end that is a little flattened at its crest is none: the foot rests on what is there.

    cap : points near the top
    free : (n,) points in no plane
    top_mm : about how high the cap is
    """
    found = [_crest_about(surface, cap, free, axis, noise, direction, top_mm) for axis in axes if len(cap)]
    crest = min((c for c in found if c is not None), key=lambda c: c.contact.u_mm, default=None)
    if crest is None or abs(crest.under_mm) > KNOWN_WITHIN_U * np.hypot(crest.u_under_mm, crest.contact.u_mm):
        return None
    doubt_mm = abs(crest.under_mm) / np.sqrt(3.0)
    return replace(crest.contact, u_mm=float(np.linalg.norm([crest.contact.u_mm, doubt_mm, crest.over_rows_mm])))


@dataclass(frozen=True, slots=True)
class _Crest:
    """The crest of an arc, and how far the wall about it lies under that arc, with its standard uncertainty.

    over_rows_mm : how far the arc rises over two rows of points on both sides of its crest, which lie as they happen to
    """

    contact: Contact
    under_mm: float
    u_under_mm: float
    over_rows_mm: float


def _crest_about(
    surface: Surface, cap: IntArray, free: BoolArray, axis: Array, noise: Noise, direction: Array, top_mm: float
) -> _Crest | None:
    band = max(4.0 * noise.spread_mm, 0.06)
    arc = _arc(surface, cap, free, axis, direction, band)
    if arc is None:
        return None
    points, wall, start = arc
    at = raised_mm(surface, points, *start)
    fit = fit_cylinder(at, start=start, robust=True, least_spread_mm=max(noise.white_mm, 1e-4))
    lift = lift_of(surface, points, fit, noise)
    crest = fit.axis_point_mm + (fit.radius_mm + lift.mm) * direction
    if abs(float(crest @ direction) - top_mm) > 0.1 + band or abs(float(fit.axis @ direction)) > 0.05:
        return None
    u_mm = float(np.hypot(_crest_u_mm(fit, at, noise, direction), lift.u_mm))
    found = Contact(float(crest @ direction), u_mm, crest)
    over_rows_mm = surface.spacing_mm**2 / (8.0 * fit.radius_mm)
    return _Crest(found, *_under_crest(surface, wall, fit, found, noise, direction), over_rows_mm)


def _under_crest(
    surface: Surface, wall: IntArray, fit: CylinderFit, crest: Contact, noise: Noise, direction: Array
) -> tuple[float, float]:
    """How far the wall lies under its arc about the crest, and the standard uncertainty of that."""
    rel = surface.points_mm[wall] - fit.axis_point_mm
    aside_mm = np.abs((surface.points_mm[wall] - crest.point_mm) @ np.cross(fit.axis, direction))
    about = (aside_mm < fit.radius_mm * np.sin(np.radians(CREST_DEG))) & (rel @ direction > 0.0)
    if not about.any():
        return 0.0, 0.0
    away_mm = np.linalg.norm(rel[about] - (rel[about] @ fit.axis)[:, None] * fit.axis, axis=1)
    own = fit_covariance(np.ones((len(away_mm), 1)), surface.points_mm[wall[about]], noise)
    return float(fit.radius_mm - np.median(away_mm)), float(np.sqrt(own[0, 0]))


def _arc(
    surface: Surface, cap: IntArray, free: BoolArray, axis: Array, direction: Array, band_mm: float
) -> tuple[IntArray, IntArray, tuple[Array, Array, float]] | None:
    """Points of the round wall under the cap, all of that wall, and its axis point, axis and radius as first seen."""
    upwards = surface.normals @ direction.astype(np.float32) > -MOST_LEAN
    square = np.abs(surface.normals @ axis.astype(np.float32)) < MOST_LEAN
    chosen = np.flatnonzero(surface.seen & free & upwards & square)
    _, patch = surface.patches(chosen)
    under = patch[np.isin(chosen, cap)]
    if len(under) == 0:
        return None
    wall = chosen[patch == int(np.bincount(under).argmax())]
    u, v, w = frame_along(axis)
    turn = np.stack([u, v])
    flat, facing = surface.points_mm[wall] @ turn.T, surface.normals[wall].astype(np.float64) @ turn.T
    reach = band_mm + surface.chord_mm[wall]
    found = circle_by_vote(flat, facing, reach)
    if found is None or found[1] < 0:
        return None
    centre, radius = found
    points = wall[on_circle(flat, facing, centre, radius, reach)]
    on_crest = surface.normals[points] @ direction.astype(np.float32) > np.cos(np.radians(CREST_DEG))
    if len(points) < LEAST_ON_ARC or on_crest.sum() < LEAST_ON_CREST:
        return None
    middle = float((surface.points_mm[points] @ w).mean())
    return points, wall, (u * centre[0] + v * centre[1] + w * middle, w, radius)


def _crest_u_mm(fit: CylinderFit, at: Array, noise: Noise, direction: Array) -> float:
    """Standard uncertainty of centre plus radius along the direction; the two err against each other."""
    kept = fit.weights > 0.2
    u, v, w = frame_along(fit.axis)
    rel = at[kept] - fit.axis_point_mm
    across = np.column_stack([rel @ u, rel @ v])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    slope = np.hstack([across, (rel @ w)[:, None] * across, np.ones((len(rel), 1))])
    row = np.array([u @ direction, v @ direction, 0.0, 0.0, 1.0])
    return float(np.sqrt(row @ fit_covariance(slope, at[kept], noise) @ row))


def crest_of_cap(surface: Surface, cap: IntArray, noise: Noise, direction: Array) -> Contact | None:
    """Crest of the second-order surface through the cap, over less of its height until it fits.

    None where it lies over all points of the cap, as over the opening that a rim runs round.
    A cap that no second-order surface fits, such as the hollow of a bent flat, is as unsure as it is misfitted.
    """
    scatter = noise.spread_mm
    while True:
        at = surface.points_mm[cap]
        crest, misfit = _second_order(at, noise, direction)
        height = at @ direction
        lower = cap[height > crest.height_mm - 0.5 * (crest.height_mm - height.min())]
        fits = misfit < MOST_MISFIT * max(scatter, 1e-4)
        if fits or len(lower) < LEAST_CAP_POINTS or len(lower) == len(cap):
            if crest.height_mm > height.max() + OVER_POINTS_MM + 4.0 * scatter:
                return None
            doubt_mm = np.hypot(np.median(surface.chord_mm[cap]), 0.0 if fits else misfit)
            return replace(crest, u_mm=float(np.hypot(crest.u_mm, doubt_mm)))
        cap = lower


def _second_order(at: Array, noise: Noise, direction: Array) -> tuple[Contact, float]:
    """Crest of a second-order surface through points, and the spread of the points about it."""
    u, v, _ = frame_along(direction)
    middle = at.mean(axis=0)
    rel = at - middle
    x, y, h = rel @ u, rel @ v, rel @ direction
    slope = np.column_stack([np.ones_like(x), x, y, 0.5 * x * x, x * y, 0.5 * y * y])
    weights = np.ones_like(h)
    for _ in range(10):
        root = np.sqrt(weights)
        found = np.linalg.lstsq(slope * root[:, None], h * root, rcond=None)[0]
        weights = tukey_weights(h - slope @ found, max(noise.white_mm, 1e-4))
    covariance = fit_covariance(slope, at, noise)
    kept = weights > 0.2
    a, b = _crest_place(found, covariance[1:3, 1:3], x[kept], y[kept])
    row = np.array([1.0, a, b, 0.5 * a * a, a * b, 0.5 * b * b])
    place = middle + a * u + b * v + float(row @ found) * direction
    u_mm = float(np.sqrt(row @ covariance @ row))
    return Contact(float(place @ direction), u_mm, place), spread_mm(h - slope @ found)


def _crest_place(found: Array, slope_covariance: Array, x: Array, y: Array) -> tuple[float, float]:
    """Highest place of the second-order surface within the patch.

    Where a bend is too slight to place the crest within the patch, the foot rests on the end that the patch rises to,
    as on a lever's flank beside its round end; where it is not known to rise, on the patch's middle in that direction.
    """
    bends, turn = np.linalg.eigh(np.array([[found[3], found[4]], [found[4], found[5]]]))
    slope = turn.T @ found[1:3]
    u_slope = np.sqrt(np.maximum(np.diag(turn.T @ slope_covariance @ turn), 0.0))
    across = turn.T @ np.stack([x, y])
    end = np.where(slope > 0.0, across.max(axis=1), across.min(axis=1))
    beyond = np.where(np.abs(slope) > KNOWN_WITHIN_U * u_slope, end, 0.0)
    at = np.divide(-slope, bends, out=np.full(2, np.inf), where=bends < 0)
    a, b = turn @ np.where(np.abs(at) < np.abs(end), at, beyond)
    return float(a), float(b)
