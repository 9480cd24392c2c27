"""Least orthogonal distance: plane, circle, cylinder and cone through points, each solved to the last digits."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from verifier.finding.robust import tukey_weights
from verifier.mesh import Array

MOST_STEPS = 200
# A step this small against the size of the thing fitted is rounding; it stops the search.
STEP_RATIO = 1e-12


@dataclass(frozen=True, slots=True)
class PlaneFit:
    """normal . (x - centre) = 0; residuals are signed distances, (n,); weights those of the last step."""

    normal: Array
    centre_mm: Array
    residuals_mm: Array
    weights: Array


@dataclass(frozen=True, slots=True)
class CircleFit:
    """Centre (2,), radius; residuals are distances from the circle, outward positive, (n,)."""

    centre_mm: Array
    radius_mm: float
    residuals_mm: Array
    weights: Array


@dataclass(frozen=True, slots=True)
class CylinderFit:
    """Axis through a point (3,) along a unit vector (3,), radius; residuals outward positive, (n,).

    The point is the foot of the points' weighted middle on the axis.
    """

    axis_point_mm: Array
    axis: Array
    radius_mm: float
    residuals_mm: Array
    weights: Array


@dataclass(frozen=True, slots=True)
class ConeFit:
    """Axis through a point (3,) along a unit vector (3,) towards the wide end; residuals outward positive, (n,).

    The point is the foot of the points' weighted middle on the axis; radius_mm is the cone's there; half_rad is half of
    the angle between opposite sides.
    """

    axis_point_mm: Array
    axis: Array
    radius_mm: float
    half_rad: float
    residuals_mm: Array
    weights: Array


@dataclass(frozen=True, slots=True)
class SphereFit:
    """Centre (3,), radius, signed distances (n,) and weights (n,)."""

    centre_mm: Array
    radius_mm: float
    residuals_mm: Array
    weights: Array


def fit_plane(points_mm: Array, *, robust: bool = False, least_spread_mm: float = 1e-9) -> PlaneFit:
    """Plane of least summed squared distance; robust repeats it with Tukey weights.

    points_mm : (n, 3), at least three not on a line
    The normal is the singular vector of least weight of the centred points; its sign is arbitrary.
    """
    weights = np.ones(len(points_mm))
    normal, centre = _plane(points_mm, weights)
    for _ in range(30 if robust else 0):
        weights = tukey_weights((points_mm - centre) @ normal, least_spread_mm)
        before = normal
        normal, centre = _plane(points_mm, weights)
        if 1.0 - abs(float(before @ normal)) < 1e-15:
            break
    return PlaneFit(normal, centre, (points_mm - centre) @ normal, weights)


def _plane(points_mm: Array, weights: Array) -> tuple[Array, Array]:
    centre = weights @ points_mm / weights.sum()
    away = (points_mm - centre) * np.sqrt(weights)[:, None]
    if len(points_mm) <= 100:
        return np.linalg.svd(away, full_matrices=False)[2][-1], centre
    # Forming the 3 x 3 product halves the digits, which noise of a hundredth of a millimetre does not notice.
    return np.linalg.eigh(away.T @ away)[1][:, 0], centre


def circle_through(points_mm: Array, weights: Array | None = None) -> tuple[Array, float]:
    """Linear circle fit (least |x|^2 - 2 c.x - k), a start for the geometric one: centre (2,), radius."""
    middle = points_mm.mean(axis=0)
    away = points_mm - middle
    root = np.ones(len(away)) if weights is None else np.sqrt(weights)
    system = np.column_stack([2.0 * away, np.ones(len(away))]) * root[:, None]
    a, b, k = np.linalg.lstsq(system, (away**2).sum(axis=1) * root, rcond=None)[0]
    return middle + np.array([a, b]), float(np.sqrt(max(k + a * a + b * b, 0.0)))


def fit_circle(
    points_mm: Array, *, start: tuple[Array, float] | None = None, robust: bool = False, least_spread_mm: float = 1e-9
) -> CircleFit:
    """Circle of least summed squared distance (not the linear fit, whose radius is too small on an arc).

    points_mm : (n, 2)
    Gauss-Newton with damping on centre and radius, as in Gander, Golub, Strebel, BIT 34 (1994) 558-578.
    """
    centre, radius = circle_through(points_mm) if start is None else start

    def linearised(at: Array) -> tuple[Array, Array]:
        away = points_mm - at[:2]
        distance = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
        return distance - at[2], np.column_stack([-away / distance[:, None], -np.ones(len(away))])

    def moved(at: Array, step: Array) -> Array:
        return np.asarray(at + step)

    found, residuals, weights = _least_squares(
        np.array([*centre, radius], dtype=np.float64), linearised, moved, robust, least_spread_mm, scale_mm=radius
    )
    return CircleFit(found[:2], float(found[2]), residuals, weights)


def fit_cylinder(
    points_mm: Array, *, start: tuple[Array, Array, float], robust: bool = False, least_spread_mm: float = 1e-9
) -> CylinderFit:
    """Cylinder of least summed squared distance.

    points_mm : (n, 3)
    start : a point of the axis, its direction, the radius
    Each step is taken in a frame whose z is the axis so far, where distance minus radius is exact and its slope is
    (-cos, -sin, -z cos, -z sin, -1) for shift, tilt and radius.
    """
    middle = points_mm.mean(axis=0)
    away = points_mm - middle

    def linearised(at: Array) -> tuple[Array, Array]:
        u, v, w = frame_along(at[3:6])
        rel = away - at[:3]
        x, y, z = rel @ u, rel @ v, rel @ w
        distance = np.maximum(np.hypot(x, y), 1e-12)
        c, s = x / distance, y / distance
        return distance - at[6], np.column_stack([-c, -s, -z * c, -z * s, -np.ones(len(z))])

    def moved(at: Array, step: Array) -> Array:
        u, v, w = frame_along(at[3:6])
        axis = w + step[2] * u + step[3] * v
        axis /= np.linalg.norm(axis)
        point = at[:3] + step[0] * u + step[1] * v
        return np.array([*(point - axis * (point @ axis)), *axis, at[6] + step[4]])

    point, axis, radius = start
    first = moved(np.array([*(point - middle), *(axis / np.linalg.norm(axis)), radius]), np.zeros(5))
    found, residuals, weights = _least_squares(first, linearised, moved, robust, least_spread_mm, scale_mm=radius)
    foot = middle + found[:3] + found[3:6] * (np.average(away, axis=0, weights=weights) @ found[3:6])
    return CylinderFit(foot, found[3:6], float(found[6]), residuals, weights)


def fit_cone(
    points_mm: Array,
    *,
    start: tuple[Array, Array, float, float],
    robust: bool = False,
    least_spread_mm: float = 1e-9,
    axis_held: bool = False,
) -> ConeFit:
    """Cone of least summed squared distance; with axis_held the axis keeps its direction.

    points_mm : (n, 3)
    start : a point of the axis, its direction towards the wide end, the radius at that point, half the angle (rad)
    In a frame whose z is the axis so far the distance is rho cos h - z sin h - q with q = radius cos h at z = 0; its
    slope is (-c cos h, -s cos h, -c t, -s t, -1, -t), t = z cos h + rho sin h being the way up the side.
    """
    middle = points_mm.mean(axis=0)
    away = points_mm - middle
    turns = 0.0 if axis_held else 1.0

    def linearised(at: Array) -> tuple[Array, Array]:
        u, v, w = frame_along(at[3:6])
        rel = away - at[:3]
        x, y, z = rel @ u, rel @ v, rel @ w
        rho = np.maximum(np.hypot(x, y), 1e-12)
        return rho * np.cos(at[7]) - z * np.sin(at[7]) - at[6], cone_slope(x, y, z, float(at[7])) * held

    def moved(at: Array, step: Array) -> Array:
        u, v, w = frame_along(at[3:6])
        axis = w + turns * (step[2] * u + step[3] * v)
        axis /= np.linalg.norm(axis)
        point = at[:3] + step[0] * u + step[1] * v
        along = float(point @ axis)
        # The point goes back beside the points' middle, and q with it: at another z the radius is another one.
        half = at[7] + step[5]
        return np.array([*(point - axis * along), *axis, at[6] + step[4] - along * np.sin(half), half])

    point, axis, radius, half = start
    held = np.array([1.0, 1.0, turns, turns, 1.0, 1.0])
    first = moved(
        np.array([*(point - middle), *(axis / np.linalg.norm(axis)), radius * np.cos(half), half]), np.zeros(6)
    )
    found, residuals, weights = _least_squares(first, linearised, moved, robust, least_spread_mm, scale_mm=radius)
    along = float(np.average(away, axis=0, weights=weights) @ found[3:6])
    wide = (found[6] + along * np.sin(found[7])) / np.cos(found[7])
    return ConeFit(
        middle + found[:3] + found[3:6] * along, found[3:6], float(wide), float(found[7]), residuals, weights
    )


def sphere_through(points_mm: Array) -> tuple[Array, float]:
    """Linear sphere fit (least |x|^2 - 2 c.x - k), a start for the geometric one: centre (3,), radius."""
    middle = points_mm.mean(axis=0)
    away = points_mm - middle
    system = np.column_stack([2.0 * away, np.ones(len(away))])
    *centre, k = np.linalg.lstsq(system, (away**2).sum(axis=1), rcond=None)[0]
    return middle + np.array(centre), float(np.sqrt(max(k + np.dot(centre, centre), 0.0)))


def fit_sphere(points_mm: Array, *, start: tuple[Array, float], least_spread_mm: float = 1e-9) -> SphereFit:
    """Sphere of least summed squared distance with Tukey weights.

    points_mm : (n, 3)
    start : centre and radius
    The distance is |p - c| - r, its slope minus the unit vector from the centre, and -1.
    """
    middle = points_mm.mean(axis=0)
    away = points_mm - middle

    def linearised(at: Array) -> tuple[Array, Array]:
        rel = away - at[:3]
        distance = np.maximum(np.linalg.norm(rel, axis=1), 1e-12)
        return distance - at[3], np.column_stack([-rel / distance[:, None], -np.ones(len(rel))])

    first = np.array([*(start[0] - middle), start[1]])
    found, residuals, weights = _least_squares(first, linearised, np.add, True, least_spread_mm, scale_mm=start[1])
    return SphereFit(middle + found[:3], float(found[3]), residuals, weights)


def cone_slope(x: Array, y: Array, z: Array, half_rad: float) -> Array:
    """Change of each distance from a cone with shift u and v, tilt u and v, q and half the angle, (n, 6)."""
    rho = np.maximum(np.hypot(x, y), 1e-12)
    c, s, side = x / rho, y / rho, z * np.cos(half_rad) + rho * np.sin(half_rad)
    across = np.cos(half_rad)
    return np.column_stack([-c * across, -s * across, -c * side, -s * side, -np.ones_like(z), -side])


def frame_along(axis: Array) -> tuple[Array, Array, Array]:
    """Three unit vectors square to each other, right-handed, the last along the axis."""
    w = axis / np.linalg.norm(axis)
    x, y, z = w.tolist()
    least = int(np.argmin(np.abs(w)))
    u = np.array(((0.0, z, -y), (-z, 0.0, x), (y, -x, 0.0))[least])  # w x the axis of space that it leans to least
    u /= np.linalg.norm(u)
    a, b, c = u.tolist()
    return u, np.array((y * c - z * b, z * a - x * c, x * b - y * a)), w


Linearised = Callable[[Array], tuple[Array, Array]]


def _least_squares(
    at: Array,
    linearised: Linearised,
    moved: Callable[[Array, Array], Array],
    robust: bool,
    least_spread_mm: float,
    scale_mm: float,
) -> tuple[Array, Array, Array]:
    """Levenberg-Marquardt on weighted squares; robust weights are taken anew at every accepted step."""
    damping = 0.0
    residuals, slope = linearised(at)
    weights = tukey_weights(residuals, least_spread_mm) if robust else np.ones(len(residuals))
    for _ in range(MOST_STEPS):
        weighted = slope * weights[:, None]
        normal = weighted.T @ slope
        normal[np.diag_indices_from(normal)] += damping * np.diag(normal) + 1e-300
        step = np.asarray(np.linalg.lstsq(normal, -weighted.T @ residuals, rcond=None)[0], dtype=np.float64)
        trial = moved(at, step)
        new_residuals, new_slope = linearised(trial)
        if weights @ new_residuals**2 > (weights @ residuals**2) * (1.0 + 1e-14) + 1e-300 and damping < 1e8:
            damping = max(10.0 * damping, 1e-3)
            continue
        at, residuals, slope, damping = trial, new_residuals, new_slope, damping / 10.0 if damping > 1e-9 else 0.0
        if robust:
            weights = tukey_weights(residuals, least_spread_mm)
        if np.abs(step).max() < STEP_RATIO * max(scale_mm, 1e-3) * (1e4 if robust else 1.0):
            break
    return at, residuals, weights
