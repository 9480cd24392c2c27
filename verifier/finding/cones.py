"""Conical faces that go once round: sides whose normals lean alike against one axis, all the way up and all round."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.finding.arcs import arc_of_cone_mm, most_smoothing_mm2, raised_of_cone_mm
from verifier.finding.doubt import evenly, fit_covariance, scatter_ratio
from verifier.finding.feature import Noise
from verifier.finding.fits import ConeFit, cone_slope, fit_cone, frame_along
from verifier.finding.rings import arc_deg
from verifier.finding.surface import Surface
from verifier.finding.walls import HELD_ABOVE_RAD, SQUARE_U_RAD, clear_of_ends
from verifier.mesh import Array, BoolArray, IntArray

# Half of the angle between opposite sides: below it is a bore with draft, above it a flat to one who lays a rule to it.
LEAST_HALF_DEG, MOST_HALF_DEG = 4.0, 78.0
# Round one cone normals lean alike to their scatter; this much to either side keeps them all in.
LEAN_WINDOW_DEG = 9.0
# A rounded mouth leans evenly from the wall to the face: a window of 18 degrees holds a quarter of it.
LEAST_PEAK = 0.5
# A rounding that turns by 47 degrees (all of one, its ends trimmed) stands over its chord by a tenth of it, one that
# turns by 6 by a hundredth. Scans hollow small cones a little, since they round the edges at both ends.
MOST_BOW, KNOWN_WITHIN_U, LEAST_TOLD_BOW = 0.012, 3.0, 0.015
# A side of less than this is not told from a rounded edge: three rows of points have to be seen of it.
LEAST_UP_MM, LEAST_ROWS_UP = 0.5, 1.6
LEAST_AREA_MM2, LEAST_POINTS = 2.0, 40
# Before a patch is fitted, so many of its points say whether it may be a cone: half of them near the one its normals
# tell, and less of a bow than a rounding has with its ends (0.15).
LOOKED_AT, LOOSE_MM, LOOSE_SHARE, LIKELY_BOW = 1500, 0.2, 0.05, 0.07
FITTED_POINTS = 6000
LEAST_ARC_DEG = 300.0
# Of the side so much has to lie on the cone, or it is a pyramid, an oval funnel or a dent.
MOST_OFF = 0.15
LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.5, 250.0


# A point of the axis, its direction towards the wide end, the radius at that point, half the angle (rad).
Start = tuple[Array, Array, float, float]


@dataclass(frozen=True, slots=True)
class Side:
    """A cone fitted, not yet named.

    inner : the material lies outside
    points : (k,) the surface's points it was fitted to, of all the points on it clear of its ends, whole
    covariance : (6, 6) of shift u and v, tilt u and v, q = radius cos h, and h, half the angle; at the fit's axis point
    low_mm, high_mm : stretch of the axis that was seen, from the axis point
    """

    inner: bool
    fit: ConeFit
    points: IntArray
    whole: IntArray
    held: bool
    covariance: Array
    low_mm: float
    high_mm: float
    arc_deg: float

    @property
    def rms_mm(self) -> float:
        """Of the points about the cone, by their weights in the fit."""
        return float(np.sqrt(np.average(self.fit.residuals_mm**2, weights=self.fit.weights)))

    def radius_at_mm(self, along_mm: float) -> float:
        """Radius so far along the axis from the fit's axis point."""
        return self.fit.radius_mm + along_mm * float(np.tan(self.fit.half_rad))

    def u_radius_mm(self, along_mm: float, u_along_mm: float = 0.0) -> float:
        """Standard uncertainty of that radius; u_along_mm, of the place it is taken at.

        r = (q + z sin h) / cos h: dr/dq = 1 / cos h, dr/dh = (q sin h + z) / cos^2 h, dr/dz = tan h.
        """
        h = self.fit.half_rad
        q = self.fit.radius_mm * np.cos(h)
        row = np.array([1.0 / np.cos(h), (q * np.sin(h) + along_mm) / np.cos(h) ** 2])
        own = float(row @ self.covariance[4:, 4:] @ row)
        return float(np.sqrt(max(own, 0.0) + (np.tan(h) * u_along_mm) ** 2))


def find_sides(surface: Surface, free: BoolArray, axes: Sequence[Array], noise: Noise) -> list[Side]:
    """Cones of a full turn about the given directions among the free points, each point in one cone at most.

    free : (n,) seen points in no plane and no round wall
    """
    left = np.flatnonzero(free)
    sides: list[Side] = []
    for axis in axes:
        for patch in _leaning_patches(surface, left, axis):
            found = (_side_in(surface, part, axis, noise) for part in _parts(surface, patch, axis))
            side = next((side for side in found if side is not None), None)
            if side is not None:
                sides.append(side)
                left = np.setdiff1d(left, patch, assume_unique=True)
    return sides


def _leaning_patches(surface: Surface, left: IntArray, axis: Array) -> Iterator[IntArray]:
    """Connected points that lean against the axis; those that lean the other way are parted from them by a wall."""
    rise = np.abs(surface.normals[left] @ axis.astype(np.float32))
    low, high = np.sin(np.radians([LEAST_HALF_DEG, MOST_HALF_DEG]))
    chosen = left[(rise > low) & (rise < high)]
    if len(chosen) >= LEAST_POINTS:
        yield from large_patches(surface, chosen)


def _parts(surface: Surface, patch: IntArray, axis: Array) -> Iterator[IntArray]:
    """What of a patch leans alike, where most of it does; then all of it, for a side that averaging has blurred."""
    lean = np.degrees(np.arcsin(np.clip(surface.normals[patch] @ axis.astype(np.float32), -1.0, 1.0)))
    alike = _alike(lean, surface.areas_mm2[patch])
    if alike is not None:
        yield from large_patches(surface, patch[alike])
    yield patch


def large_patches(surface: Surface, chosen: IntArray) -> Iterator[IntArray]:
    """Connected patches of the chosen points that are large enough for a cone."""
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    order = np.argsort(patch, kind="stable")
    edges = np.searchsorted(patch[order], np.arange(count + 1))
    for label in np.flatnonzero(area >= LEAST_AREA_MM2):
        points = chosen[order[edges[label] : edges[label + 1]]]
        if len(points) >= LEAST_POINTS:
            yield points


def _alike(lean_deg: Array, area_mm2: Array) -> BoolArray | None:
    """Which points lean within the window about the commonest lean; None where too few of them do."""
    order = np.argsort(lean_deg)
    total = np.concatenate([[0.0], np.cumsum(area_mm2[order])])
    ends = np.searchsorted(lean_deg[order], lean_deg[order] + 2.0 * LEAN_WINDOW_DEG, side="right")
    held = total[ends] - total[:-1]
    best = int(np.argmax(held))
    if held[best] < LEAST_PEAK * total[-1]:
        return None
    # The window is laid about the middle of what it holds, so that a narrow peak is not cut at its edge.
    middle = float(np.median(lean_deg[order][best : ends[best]]))
    return np.asarray(np.abs(lean_deg - middle) < LEAN_WINDOW_DEG)


def _side_in(surface: Surface, patch: IntArray, axis: Array, noise: Noise) -> Side | None:
    """The cone that the patch lies on; None where it lies on none, or goes less than once round."""
    few = patch[evenly(len(patch), LOOKED_AT)]
    first = _first_cone(surface, few, axis)
    # Most patches are no cone, and a few points say so before all of them are fitted.
    return fitted_side(surface, patch, first, noise) if first is not None and _is_likely(surface, few, first) else None


def _is_likely(surface: Surface, points: IntArray, start: Start) -> bool:
    """Whether most points lie somewhere near the cone that their normals tell, and do not bend as a rounding does."""
    middle, wide, radius, half = start
    at = surface.points_mm[points]
    rel = at - middle
    along = rel @ wide
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    away = (off - radius) * np.cos(half) - along * np.sin(half)
    if np.mean(np.abs(away) > LOOSE_MM + LOOSE_SHARE * radius) > 0.5:
        return False
    fit = fit_cone(at, start=start, axis_held=True)
    return _bow(at, along * np.cos(half) + off * np.sin(half), fit) < LIKELY_BOW


def _first_cone(surface: Surface, patch: IntArray, axis: Array) -> Start | None:
    """Where the lines along the normals meet, seen along the axis; the axis turned towards the wide end."""
    u, v, w = frame_along(axis)
    at, facing = surface.points_mm[patch], surface.normals[patch].astype(np.float64)
    flat, across = np.column_stack([at @ u, at @ v]), np.column_stack([facing @ u, facing @ v])
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    square = np.column_stack([-across[:, 1], across[:, 0]])
    wanted = (square * flat).sum(axis=1)
    moment = square.T @ square
    if np.linalg.cond(moment) > 20.0:  # a full turn has 1, half a turn 1 too, a quarter 4.5, an eighth 20
        return None
    centre = np.linalg.solve(moment, square.T @ wanted)
    away = flat - centre
    rho = np.linalg.norm(away, axis=1)
    outwards = (away * across).sum(axis=1) / np.maximum(rho, 1e-9)
    inner = float(np.median(outwards)) < 0.0
    if np.mean((outwards < 0.0) == inner) < 0.9 or not LEAST_RADIUS_MM < np.median(rho) < MOST_RADIUS_MM:
        return None
    lean = float(np.median(np.arcsin(np.clip(facing @ w, -1.0, 1.0))))
    # An inner side looks up towards its wide end, an outer one down from it.
    wide = w * (np.sign(lean) if inner else -np.sign(lean))
    middle = u * centre[0] + v * centre[1] + w * float((at @ w).mean())
    return middle, wide, float(np.median(rho)), abs(lean)


def fitted_side(surface: Surface, patch: IntArray, start: Start, noise: Noise) -> Side | None:
    """The cone through a patch, clear of its ends, about its own axis or held along the start's."""
    rough = _placed(surface, patch, start)
    whole = patch[clear_of_ends(rough.angle_rad, rough.up_mm, start[2], surface.spacing_mm)]
    if len(whole) < LEAST_POINTS // 2:
        return None
    points = whole[evenly(len(whole), FITTED_POINTS)]
    least = max(noise.white_mm, 1e-4)
    at = raised_of_cone_mm(surface, points, *start)
    fit = fit_cone(at, start=start, robust=True, least_spread_mm=least)
    covariance = _covariance(fit, at, noise)
    unsure = float(np.sqrt(max(covariance[2, 2], covariance[3, 3])))
    held = unsure > HELD_ABOVE_RAD
    if held:
        fit = fit_cone(at, start=start, robust=True, least_spread_mm=least, axis_held=True)
        covariance = _held_covariance(fit, at, noise)
    side = _checked(surface, points, at, fit, held, covariance, noise)
    return None if side is None else replace(side, whole=whole)


def _checked(
    surface: Surface, points: IntArray, at: Array, fit: ConeFit, held: bool, covariance: Array, noise: Noise
) -> Side | None:
    half_deg = float(np.degrees(fit.half_rad))
    if not 0.0 < half_deg < MOST_HALF_DEG + 2.0 or not LEAST_RADIUS_MM < fit.radius_mm < MOST_RADIUS_MM:
        return None
    rel = at - fit.axis_point_mm
    u, v, w = frame_along(fit.axis)
    x, y, z = rel @ u, rel @ v, rel @ w
    band = max(5.0 * float(np.hypot(noise.white_mm, noise.correlated_mm)), 0.06)
    seen = fit.weights > 0.0
    arc = arc_deg(np.arctan2(y, x)[seen], surface.spacing_mm / fit.radius_mm)
    up = z * np.cos(fit.half_rad) + np.hypot(x, y) * np.sin(fit.half_rad)
    if arc < LEAST_ARC_DEG or np.mean(np.abs(fit.residuals_mm) > band) > MOST_OFF:
        return None
    if _is_rounding(surface, at, up, fit, noise):
        return None
    facing = surface.normals[points].astype(np.float64)
    inner = float(np.median((facing @ u) * x + (facing @ v) * y)) < 0.0
    fit, covariance = _drawn_in(surface, points, fit, covariance, noise)
    low, high = np.percentile(z[seen], [1.0, 99.0])
    return Side(inner, fit, points, points, held, covariance, float(low), float(high), arc)


def _drawn_in(
    surface: Surface, points: IntArray, fit: ConeFit, covariance: Array, noise: Noise
) -> tuple[ConeFit, Array]:
    """Half of what a smoothing may have drawn the side inwards is given back, see `arcs.lift_of`.

    The side is bent round its axis alone, with a radius of rho / cos h. Where the net is coarse, nobody knows whether
    its corners or its facets were laid on the side: half the height of the arc is added to the radius' uncertainty.
    """
    cone = (fit.axis_point_mm, fit.axis, fit.radius_mm, fit.half_rad)
    drawn = most_smoothing_mm2(surface, noise) * float(np.cos(fit.half_rad)) / (2.0 * fit.radius_mm)
    arc = arc_of_cone_mm(surface, points, *cone) if surface.coarse else 0.0
    wider = covariance.copy()
    wider[4, 4] += drawn**2 / 12.0 + (0.5 * arc) ** 2
    return replace(fit, radius_mm=fit.radius_mm + 0.5 * drawn / float(np.cos(fit.half_rad))), wider


def _is_rounding(surface: Surface, at: Array, up_mm: Array, fit: ConeFit, noise: Noise) -> bool:
    """Whether the side bends from end to end, or is too short for one to tell."""
    length = _length_mm(up_mm)
    if length < max(LEAST_UP_MM, LEAST_ROWS_UP * surface.spacing_mm):
        return True
    kept = fit.weights > 0.0
    slope = np.column_stack([_slope(fit, at), (up_mm - up_mm.mean()) ** 2])[kept]
    u_bow = 0.25 * length * float(np.sqrt(fit_covariance(slope, at[kept], noise)[-1, -1]))
    return u_bow > LEAST_TOLD_BOW or _bow(at, up_mm, fit) > MOST_BOW + KNOWN_WITHIN_U * u_bow


def _length_mm(up_mm: Array) -> float:
    """Length of the side, from end to end up it."""
    return float(np.ptp(np.percentile(up_mm, [2.0, 98.0])))


def _bow(at: Array, up_mm: Array, fit: ConeFit) -> float:
    """By how much the side stands out in its middle, as a share of its length: c length^2 / 4 of residuals c up^2."""
    kept = fit.weights > 0.0
    slope = np.column_stack([_slope(fit, at), (up_mm - up_mm.mean()) ** 2])[kept]
    return 0.25 * _length_mm(up_mm) * abs(float(np.linalg.lstsq(slope, fit.residuals_mm[kept], rcond=None)[0][-1]))


@dataclass(frozen=True, slots=True)
class _Placed:
    """Points of a cone's side: angle about its axis and way up the side, (n,) each."""

    angle_rad: Array
    up_mm: Array


def _placed(surface: Surface, points: IntArray, start: Start) -> _Placed:
    middle, wide, _, half = start
    u, v, w = frame_along(wide)
    rel = surface.points_mm[points] - middle
    x, y, z = rel @ u, rel @ v, rel @ w
    return _Placed(np.arctan2(y, x), z * np.cos(half) + np.hypot(x, y) * np.sin(half))


def _slope(fit: ConeFit, at: Array) -> Array:
    u, v, w = frame_along(fit.axis)
    rel = at - fit.axis_point_mm
    return cone_slope(rel @ u, rel @ v, rel @ w, fit.half_rad)


def _covariance(fit: ConeFit, at: Array, noise: Noise) -> Array:
    kept = fit.weights > 0.2
    slope = _slope(fit, at[kept])
    return fit_covariance(slope, at[kept], noise) * _rougher(slope, fit, kept, at, noise)


def _held_covariance(fit: ConeFit, at: Array, noise: Noise) -> Array:
    kept = fit.weights > 0.2
    slope = _slope(fit, at[kept])
    free = [0, 1, 4, 5]
    covariance = np.zeros((6, 6))
    covariance[np.ix_(free, free)] = _rougher(slope, fit, kept, at, noise) * fit_covariance(
        slope[:, free], at[kept], noise
    )
    covariance[[2, 3], [2, 3]] = SQUARE_U_RAD**2
    return covariance


def _rougher(slope: Array, fit: ConeFit, kept: BoolArray, at: Array, noise: Noise) -> float:
    """By how much the side's variance exceeds that of the flats, at least 1; lobes and hollow are form."""
    length = np.maximum(np.hypot(slope[:, 0], slope[:, 1]), 1e-9)
    c, s, up = slope[:, 0] / length, slope[:, 1] / length, slope[:, 5]
    form = [c * c - s * s, 2.0 * s * c, c * (4.0 * c * c - 3.0), s * (3.0 - 4.0 * s * s), up * up]
    return max(1.0, scatter_ratio(np.column_stack([slope, *form]), fit.residuals_mm[kept], at[kept], noise))
