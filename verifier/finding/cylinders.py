"""Bores and bosses: rings fitted, their ends trimmed, mouths of one bore joined, shallow ones held square."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from verifier.finding.doubt import fit_covariance
from verifier.finding.feature import Cylinder, Noise, Plane
from verifier.finding.fits import CylinderFit, fit_circle, fit_cylinder, frame_along
from verifier.finding.profile import profile_of
from verifier.finding.rings import MOST_LEAN, SHIELD_COSINE, Ring, arc_deg, bent_axes, rings_along
from verifier.finding.surface import Surface
from verifier.mesh import Array, BoolArray, IntArray

# Less of the turn than this and the wall may be a fillet, a slot's end or a lever's round end.
LEAST_ARC_DEG = 300.0
# A scanner rounds every mouth over about its point spacing; 0.4 mm from each end the wall is the wall.
END_TRIM_MM = 0.4
LEAST_DEPTH_MM = 0.4
MOST_SECTORS = 36
# Of a mouth seen 1.4 mm deep, trimming 0.4 mm twice would leave two rows of points; 0.2 mm leaves three.
SHALLOW_TRIM = 0.15
# An axis known no better than this is held square to its mouth: moulded bores stand square to a third of a degree
# (common practice, no source), so that holding does no more harm than this.
HELD_ABOVE_RAD = np.radians(0.3)
SQUARE_U_RAD = np.radians(0.3)
AXES_FROM_PLANES = 16
REGATHER_RAD = np.radians(0.3)
LEAST_POINTS = 20
LEAST_PARTIAL_DEG = 90.0


@dataclass(frozen=True, slots=True)
class Wall:
    """A ring with its cylinder fitted, not yet named."""

    ring: Ring
    fit: CylinderFit
    points: IntArray
    held: str
    covariance: Array  # of shift u, shift v, tilt u, tilt v, radius
    segments_mm: tuple[tuple[float, float], ...]  # along the axis from the axis point


def find_walls(
    surface: Surface, planes: Sequence[Plane], flat: BoolArray, noise: Noise
) -> tuple[list[Wall], list[Ring]]:
    """Full-turn round walls, and the partial arcs that are not called bores.

    flat : (n,) points that belong to planes
    """
    free = surface.seen & ~flat
    band = max(4.0 * float(np.hypot(noise.white_mm, noise.correlated_mm)), 0.06)
    walls: list[Wall] = []
    partial: list[Ring] = []

    def sort_in(among: BoolArray, axis: Array) -> None:
        for ring in list(rings_along(surface, among, axis, band)):
            wall = _wall_of(surface, ring, free, band, planes, noise) if ring.arc_deg >= LEAST_ARC_DEG else None
            if wall is not None:
                walls.append(wall)
                free[_round_about(surface, wall)] = False
            elif ring.arc_deg >= LEAST_PARTIAL_DEG:
                partial.append(ring)
                free[ring.points] = False

    for axis in _axes(planes):
        sort_in(free, axis)
    left = np.flatnonzero(free)
    for axis in bent_axes(surface.points_mm[left], surface.normals[left]):
        sort_in(free, axis)
    return _joined(surface, walls, planes, noise), [ring for ring in partial if not _inside_a_wall(ring, walls)]


def _round_about(surface: Surface, wall: Wall) -> BoolArray:
    """Points on the wall or on the rounded mouths beside it, so that these are not taken for more walls."""
    rel = surface.points_mm - wall.fit.axis_point_mm
    along = rel @ wall.fit.axis
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    low, high = wall.segments_mm[0][0] - 2.0 * END_TRIM_MM, wall.segments_mm[-1][1] + 2.0 * END_TRIM_MM
    return np.asarray((np.abs(off - wall.fit.radius_mm) < END_TRIM_MM) & (along > low) & (along < high))


def _inside_a_wall(ring: Ring, walls: Sequence[Wall]) -> bool:
    """Whether a partial arc is but a left-over of a bore that was found."""
    for wall in walls:
        rel = ring.axis_point_mm - wall.fit.axis_point_mm
        off = np.linalg.norm(rel - wall.fit.axis * (rel @ wall.fit.axis))
        if off < 0.5 * wall.fit.radius_mm:
            return True
    return False


def _axes(planes: Sequence[Plane]) -> list[Array]:
    """Directions of the planes' normals, opposite ones once, the largest planes first."""
    axes: list[Array] = []
    for plane in planes:
        if all(abs(float(plane.normal @ axis)) < np.cos(np.radians(3.0)) for axis in axes):
            axes.append(plane.normal)
    return axes[:AXES_FROM_PLANES]


def _wall_of(
    surface: Surface, ring: Ring, free: BoolArray, band_mm: float, planes: Sequence[Plane], noise: Noise
) -> Wall | None:
    """The ring's cylinder; None where too little is left once its ends are trimmed."""
    wall = _trimmed_wall(surface, ring, planes, noise)
    if wall is not None and abs(float(wall.fit.axis @ ring.axis)) < np.cos(REGATHER_RAD):
        # The axis the ring was looked for along was a guess; along the right one more of the wall comes in.
        wall = _trimmed_wall(surface, _regathered(surface, wall, free, band_mm), planes, noise)
    if wall is None or sum(high - low for low, high in wall.segments_mm) < LEAST_DEPTH_MM:
        return None
    return wall if _arc_deg(surface, wall) >= LEAST_ARC_DEG else None


def _trimmed_wall(surface: Surface, ring: Ring, planes: Sequence[Plane], noise: Noise) -> Wall | None:
    points = _trimmed(surface, ring)
    return _fitted(surface, replace(ring, points=points), planes, noise) if len(points) >= LEAST_POINTS else None


def _regathered(surface: Surface, wall: Wall, free: BoolArray, band_mm: float) -> Ring:
    """The ring along the fitted axis: connected free points on the cylinder that face as its wall does."""
    fit = wall.fit
    rel = surface.points_mm - fit.axis_point_mm
    rel -= (rel @ fit.axis)[:, None] * fit.axis
    off = np.maximum(np.linalg.norm(rel, axis=1), 1e-9)
    chosen = np.flatnonzero(free & (np.abs(off - fit.radius_mm) < band_mm))
    normals = surface.normals[chosen].astype(np.float64)
    outwards = np.einsum("ij,ij->i", normals, rel[chosen]) / off[chosen] * (1.0 if wall.ring.kind == "boss" else -1.0)
    chosen = chosen[(outwards > SHIELD_COSINE) & (np.abs(normals @ fit.axis) < MOST_LEAN)]
    _, patch = surface.patches(chosen)
    main = np.bincount(patch[np.isin(chosen, wall.points)]).argmax()
    return replace(
        wall.ring,
        axis_point_mm=fit.axis_point_mm,
        axis=fit.axis,
        radius_mm=fit.radius_mm,
        points=chosen[patch == main],
    )


def _arc_deg(surface: Surface, wall: Wall) -> float:
    u, v, _ = frame_along(wall.fit.axis)
    rel = surface.points_mm[wall.points[wall.fit.weights > 0.0]] - wall.fit.axis_point_mm
    return arc_deg(np.arctan2(rel @ v, rel @ u), surface.spacing_mm / wall.fit.radius_mm)


def _fitted(surface: Surface, ring: Ring, planes: Sequence[Plane], noise: Noise) -> Wall:
    at = surface.points_mm[ring.points]
    least = max(noise.white_mm, 1e-4)
    free = fit_cylinder(at, start=(ring.axis_point_mm, ring.axis, ring.radius_mm), robust=True, least_spread_mm=least)
    covariance = _covariance(free, at, noise)
    mouth = _mouth_plane(ring, planes, free)
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
    return fit_covariance(_slope(fit, at[kept]), at[kept], noise)


def _held_covariance(fit: CylinderFit, at: Array, noise: Noise, tilt_u_rad: float) -> Array:
    kept = fit.weights > 0.2
    part = fit_covariance(_slope(fit, at[kept])[:, [0, 1, 4]], at[kept], noise)
    covariance = np.zeros((5, 5))
    covariance[np.ix_([0, 1, 4], [0, 1, 4])] = part
    covariance[[2, 3], [2, 3]] = tilt_u_rad**2
    return covariance


def _mouth_plane(ring: Ring, planes: Sequence[Plane], fit: CylinderFit) -> Plane | None:
    """The largest plane about square to the ring (12 degrees) that lies at one of its ends."""
    for plane in planes:
        square = abs(float(plane.normal @ ring.axis)) > np.cos(np.radians(12.0))
        if square and _at_mouth(plane, fit):
            return plane
    return None


def _at_mouth(plane: Plane, fit: CylinderFit) -> bool:
    """Whether some of the plane lies within two radii of where the axis meets it."""
    meets = fit.axis_point_mm + fit.axis * float(
        (plane.centre_mm - fit.axis_point_mm) @ plane.normal / (fit.axis @ plane.normal)
    )
    near = np.linalg.norm(plane.points_mm - meets, axis=1).min()
    return bool(near < 2.0 * fit.radius_mm + 2.0)


def _trimmed(surface: Surface, ring: Ring) -> IntArray:
    """Points of the ring that lie END_TRIM_MM from its ends, judged sector by sector (ends may be slanted)."""
    u, v, w = frame_along(ring.axis)
    rel = surface.points_mm[ring.points] - ring.axis_point_mm
    along = rel @ w
    sectors = int(np.clip(2.0 * np.pi * ring.radius_mm / (3.0 * surface.spacing_mm), 6, MOST_SECTORS))
    sector = ((np.arctan2(rel @ v, rel @ u) / (2.0 * np.pi) + 0.5) * sectors).astype(int) % sectors
    low, high = np.full(sectors, np.inf), np.full(sectors, -np.inf)
    np.minimum.at(low, sector, along)
    np.maximum.at(high, sector, along)
    low, high = np.where(np.isfinite(low), low, 0.0), np.where(np.isfinite(high), high, 0.0)
    trim = np.minimum(END_TRIM_MM, SHALLOW_TRIM * (high - low))
    inside = (along >= (low + trim)[sector]) & (along <= (high - trim)[sector])
    return np.asarray(ring.points[inside])


def _segments(along_mm: Array, gap_mm: float = 1.5) -> tuple[tuple[float, float], ...]:
    """Stretches of the axis that were seen, parted where nothing was seen for 1.5 mm."""
    z = np.sort(along_mm)
    breaks = np.flatnonzero(np.diff(z) > gap_mm)
    starts, ends = np.concatenate([[0], breaks + 1]), np.concatenate([breaks, [len(z) - 1]])
    return tuple((float(z[a]), float(z[b])) for a, b in zip(starts, ends, strict=True))


def _joined(surface: Surface, walls: list[Wall], planes: Sequence[Plane], noise: Noise) -> list[Wall]:
    """Walls with the mouths of one bore made one."""
    while True:
        for a, b in combinations(range(len(walls)), 2):
            both = _as_one(surface, walls[a], walls[b], planes, noise)
            if both is not None:
                walls = [wall for i, wall in enumerate(walls) if i not in (a, b)] + [both]
                break
        else:
            return walls


def _as_one(surface: Surface, a: Wall, b: Wall, planes: Sequence[Plane], noise: Noise) -> Wall | None:
    """Two walls as one bore, when they have one axis and one diameter and no measured floor between them."""
    if a.ring.kind != "bore" or b.ring.kind != "bore" or abs(float(a.fit.axis @ b.fit.axis)) < np.cos(np.radians(6.0)):
        return None
    apart = b.fit.axis_point_mm - a.fit.axis_point_mm
    along = float(np.linalg.norm(apart))
    axis = apart / max(along, 1e-9) if along > a.fit.radius_mm else a.fit.axis
    lean = max(_off_axis(axis, a, along), _off_axis(axis, b, along))
    u_radius = np.sqrt(a.covariance[4, 4] + b.covariance[4, 4])
    if lean > 4.0 or abs(a.fit.radius_mm - b.fit.radius_mm) > max(0.08, 4.0 * u_radius):
        return None
    if _floor_between(planes, a, b):
        return None
    points = np.concatenate([a.points, b.points])
    radius = 0.5 * (a.fit.radius_mm + b.fit.radius_mm)
    middle = 0.5 * (a.fit.axis_point_mm + b.fit.axis_point_mm)
    ring = replace(a.ring, axis_point_mm=middle, axis=axis, radius_mm=radius, points=points)
    both = _fitted(surface, ring, planes, noise)
    rms = np.sqrt(0.5 * (_rms(a.fit) ** 2 + _rms(b.fit) ** 2))
    return both if _rms(both.fit) < 1.25 * rms + 0.01 else None


def _off_axis(axis: Array, wall: Wall, along_mm: float) -> float:
    """Angle between a wall's axis and the line of both middles, in units of what is allowed.

    Allowed are half a degree, what the scatter explains, and a sideways play of 0.15 mm.
    """
    sine = float(np.linalg.norm(np.cross(axis, wall.fit.axis)))
    u_axis = float(np.sqrt(max(wall.covariance[2, 2], wall.covariance[3, 3])))
    return sine / float(np.hypot(np.hypot(np.radians(0.5), u_axis), 0.15 / max(along_mm, 1e-9)))


def _floor_between(planes: Sequence[Plane], a: Wall, b: Wall) -> bool:
    """Whether a measured flat closes the bore between its two walls."""
    low, high = sorted((0.0, float((b.fit.axis_point_mm - a.fit.axis_point_mm) @ a.fit.axis)))
    for plane in planes:
        rel = plane.points_mm - a.fit.axis_point_mm
        along = rel @ a.fit.axis
        off = np.linalg.norm(rel - along[:, None] * a.fit.axis, axis=1)
        inside = (off < 0.8 * a.fit.radius_mm) & (along > low) & (along < high)
        if abs(float(plane.normal @ a.fit.axis)) > 0.9 and inside.any():
            return True
    return False


def _rms(fit: CylinderFit) -> float:
    return float(np.sqrt(np.average(fit.residuals_mm**2, weights=fit.weights)))


def cylinder_of(surface: Surface, wall: Wall, noise: Noise, number: int) -> Cylinder:
    """A wall with its name, its pin size and its uncertainties."""
    fit, kept = wall.fit, wall.fit.weights > 0.0
    at = surface.points_mm[wall.points][kept]
    u, v, w = frame_along(fit.axis)
    rel = at - fit.axis_point_mm
    angle, along = np.arctan2(rel @ v, rel @ u), rel @ w
    bore = wall.ring.kind == "bore"
    profile = profile_of(angle, along, fit.residuals_mm[kept], at, noise, bore=bore)
    half = 0.5 * (wall.segments_mm[0][0] + wall.segments_mm[-1][1])
    covariance = wall.covariance
    return Cylinder(
        name=f"{wall.ring.kind} {number}",
        kind=wall.ring.kind,
        axis_point_mm=fit.axis_point_mm + half * fit.axis,
        axis=fit.axis,
        diameter_mm=2.0 * fit.radius_mm,
        pin_diameter_mm=2.0 * (fit.radius_mm + profile.entry_mm),
        form_error_mm=profile.roundness_mm,
        arc_deg=_arc_deg(surface, wall),
        depth_mm=sum(high - low for low, high in wall.segments_mm),
        through=bore and _open_at_both_ends(surface, wall),
        axis_held=wall.held,
        rms_mm=_rms(fit),
        u_diameter_mm=2.0 * float(np.sqrt(covariance[4, 4])),
        u_position_mm=float(np.sqrt(max(covariance[0, 0], covariance[1, 1]))),
        u_axis_rad=float(np.sqrt(max(covariance[2, 2], covariance[3, 3]))),
        point_count=int(kept.sum()),
        faces=surface.faces_of(wall.points),
    )


def _open_at_both_ends(surface: Surface, wall: Wall) -> bool:
    """Whether nothing, seen or filled, closes the tube just beyond either end of what was seen."""
    fit = wall.fit
    rel = surface.points_mm - fit.axis_point_mm
    along = rel @ fit.axis
    off = np.einsum("ij,ij->i", rel, rel) - along**2
    reach = fit.radius_mm + 1.5
    low, high = wall.segments_mm[0][0], wall.segments_mm[-1][1]
    beyond = ((along > high) & (along < high + reach)) | ((along < low) & (along > low - reach))
    return not bool(((off < (0.5 * fit.radius_mm) ** 2) & beyond).any())
