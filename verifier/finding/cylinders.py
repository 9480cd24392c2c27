"""Bores and bosses: round walls of a full turn, looked for along the likely axes, and named."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from verifier.finding.cones import Side
from verifier.finding.feature import Cylinder, Noise, Plane
from verifier.finding.fits import frame_along
from verifier.finding.lips import RIM_SPACINGS
from verifier.finding.mouths import joined_mouths
from verifier.finding.profile import profile_of
from verifier.finding.rings import MOST_LEAN, SHIELD_COSINE, Ring, bent_axes, rings_along
from verifier.finding.shallow import shallow_wall
from verifier.finding.surface import Surface
from verifier.finding.tapers import is_cone, round_about, tapered_side
from verifier.finding.walls import END_TRIM_MM, Wall, fitted_wall, seen_arc_deg, trimmed_wall
from verifier.mesh import Array, BoolArray, within

# Less of the turn than this and the wall may be a fillet, a slot's end or a lever's round end.
LEAST_ARC_DEG = 300.0
# A boss that something is joined to, as a hinge's barrel to its leaf, goes round less; a lever's round end goes round
# by half a turn and what its sides taper, 40 degrees at most.
LEAST_JOINED_ARC_DEG = 240.0
LEAST_PARTIAL_DEG = 150.0
LEAST_DEPTH_MM = 0.4
# Where fewer points go round, the two sides of a thin ridge look like a full turn, for gaps are judged by the spacing.
FEWEST_ROUND = 9
AXES_FROM_PLANES = 16
REGATHER_RAD = np.radians(0.3)


@dataclass(frozen=True, slots=True)
class Walls:
    """Round walls of a full turn, the tapers that a slice of looked like one, and the partial arcs that are not bores.

    free : (n,) seen points that belong to none of them, nor to a plane
    """

    whole: list[Wall]
    tapers: list[Side]
    partial: list[Ring]
    free: BoolArray


def find_walls(surface: Surface, planes: Sequence[Plane], flat: BoolArray, noise: Noise) -> Walls:
    """Round walls along the planes' normals, then about the axes that the rest bends about.

    flat : (n,) points that belong to planes
    """
    free = surface.seen & ~flat
    band = max(4.0 * noise.spread_mm, 0.06)
    walls: list[Wall] = []
    tapers: list[Side] = []
    partial: list[Ring] = []

    def sort_in(among: BoolArray, axis: Array) -> None:
        rings = sorted(rings_along(surface, among, axis, band), key=lambda ring: len(ring.points), reverse=True)
        for ring in rings:
            if free[ring.points].mean() < 0.5:
                continue  # lips and rounded mouths of a wall found meanwhile, or the rest of a taper
            wall = _wall_of(surface, ring, free, band, planes, noise)
            side = None if wall is None else tapered_side(surface, wall, free, band, noise)
            if side is not None:
                free[round_about(surface, side)] = False
            if side is not None and is_cone(side):
                tapers.append(side)
            elif wall is not None:
                walls.append(wall if side is None else _with_draft(surface, wall, side, planes, noise))
                free[_round_about(surface, walls[-1])] = False
            elif ring.arc_deg >= LEAST_PARTIAL_DEG:
                partial.append(ring)

    for axis in axes_of(planes):
        sort_in(free, axis)
    left = np.flatnonzero(free)
    for axis in bent_axes(surface.points_mm[left], surface.normals[left]):
        sort_in(free, axis)
    walls += _low_bores(surface, planes, free, band, noise)
    whole = joined_mouths(surface, walls, planes, noise)
    return Walls(whole, tapers, _left_over(partial, walls, free), free)


def _low_bores(surface: Surface, planes: Sequence[Plane], free: BoolArray, band_mm: float, noise: Noise) -> list[Wall]:
    """Bores through plates a few spacings thick, by the normals of the faces round each point; free no more.

    Asked last, so that what averaged normals tell keeps its say: on a bore that a scanner narrowed just inside its
    mouths the rows there look as sharp as its wall.
    """
    found: list[Wall] = []
    if surface.sharp is None:
        return found
    keen = replace(surface, normals=surface.sharp)
    for axis in axes_of(planes):
        for ring in rings_along(keen, free, axis, band_mm):
            wall = shallow_wall(keen, ring, free, band_mm, planes, noise) if ring.arc_deg >= LEAST_ARC_DEG else None
            if wall is not None and _is_low_wall(keen, wall) and tapered_side(keen, wall, free, band_mm, noise) is None:
                found.append(wall)
                free[_round_about(surface, wall)] = False
    return found


def _is_low_wall(surface: Surface, wall: Wall) -> bool:
    """Whether it goes round and is high enough: each row of points stands for a spacing, however near the next is."""
    height_mm = float(surface.areas_mm2[wall.points].sum()) / (2.0 * np.pi * wall.fit.radius_mm)
    return height_mm >= LEAST_DEPTH_MM and _is_round(surface, wall)


def _left_over(partial: Sequence[Ring], walls: Sequence[Wall], free: BoolArray) -> list[Ring]:
    """Partial arcs that are no part of a wall, each once; their points are free no more.

    Only when all axes have been tried: along the slanting face of a wedge a bore square to its base shows two halves.
    """
    left = []
    for ring in partial:
        if free[ring.points].mean() >= 0.5:
            free[ring.points] = False
            if not _inside_a_wall(ring, walls):
                left.append(ring)
    return left


def _with_draft(surface: Surface, wall: Wall, side: Side, planes: Sequence[Plane], noise: Noise) -> Wall:
    """The wall fitted to all of its drafted side: its diameter is that at half the depth seen."""
    ring = replace(wall.ring, axis_point_mm=side.fit.axis_point_mm, radius_mm=side.fit.radius_mm, points=side.whole)
    return fitted_wall(surface, ring, planes, noise)


def _round_about(surface: Surface, wall: Wall) -> BoolArray:
    """Points on the wall or on the rounded mouths beside it, so that these are not taken for more walls."""
    rel = surface.points_mm - wall.fit.axis_point_mm
    along = rel @ wall.fit.axis
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    reach_mm = max(2.0 * END_TRIM_MM, RIM_SPACINGS * surface.spacing_mm)
    low, high = wall.segments_mm[0][0] - reach_mm, wall.segments_mm[-1][1] + reach_mm
    return np.asarray((np.abs(off - wall.fit.radius_mm) < END_TRIM_MM) & (along > low) & (along < high))


def _inside_a_wall(ring: Ring, walls: Sequence[Wall]) -> bool:
    """Whether a partial arc is but a left-over of a bore that was found."""
    for wall in walls:
        rel = ring.axis_point_mm - wall.fit.axis_point_mm
        off = np.linalg.norm(rel - wall.fit.axis * (rel @ wall.fit.axis))
        if off < 0.5 * wall.fit.radius_mm:
            return True
    return False


def axes_of(planes: Sequence[Plane]) -> list[Array]:
    """Directions of the planes' normals, opposite ones once, the largest planes first."""
    axes: list[Array] = []
    for plane in planes:
        if all(abs(float(plane.normal @ axis)) < np.cos(np.radians(3.0)) for axis in axes):
            axes.append(plane.normal)
    return axes[:AXES_FROM_PLANES]


def _wall_of(
    surface: Surface, ring: Ring, free: BoolArray, band_mm: float, planes: Sequence[Plane], noise: Noise
) -> Wall | None:
    """The ring's cylinder; None where too little of it is left, or was seen."""
    if ring.arc_deg >= least_arc_deg(ring.kind):
        wall = _clear_of_its_ends(surface, ring, free, band_mm, planes, noise)
        if wall is not None and _goes_round(surface, wall):
            return wall
    if ring.arc_deg < LEAST_PARTIAL_DEG:
        return None
    wall = shallow_wall(surface, ring, free, band_mm, planes, noise)
    return wall if wall is not None and _goes_round(surface, wall) else None


def _goes_round(surface: Surface, wall: Wall) -> bool:
    return wall.depth_mm >= LEAST_DEPTH_MM and _is_round(surface, wall)


def _is_round(surface: Surface, wall: Wall) -> bool:
    resolved = 2.0 * np.pi * wall.fit.radius_mm >= FEWEST_ROUND * surface.spacing_mm
    return resolved and seen_arc_deg(surface, wall) >= least_arc_deg(wall.ring.kind)


def least_arc_deg(kind: Literal["bore", "boss"]) -> float:
    """How much of its turn a round wall is seen over: a bore that goes round less may be a slot's or a pocket's end."""
    return LEAST_ARC_DEG if kind == "bore" else LEAST_JOINED_ARC_DEG


def _clear_of_its_ends(
    surface: Surface, ring: Ring, free: BoolArray, band_mm: float, planes: Sequence[Plane], noise: Noise
) -> Wall | None:
    """The ring's cylinder, its ends trimmed; None where nothing is left."""
    wall = trimmed_wall(surface, ring, planes, noise)
    if wall is not None and abs(float(wall.fit.axis @ ring.axis)) < np.cos(REGATHER_RAD):
        # The axis the ring was looked for along was a guess; along the right one more of the wall comes in.
        whole = _regathered(surface, wall, free, band_mm)
        wall = None if whole is None else trimmed_wall(surface, whole, planes, noise)
    return wall


def _regathered(surface: Surface, wall: Wall, free: BoolArray, band_mm: float) -> Ring | None:
    """The ring along the fitted axis: free points on the cylinder that face as its wall does, joined to the wall's own.

    None where none of the wall's own points do: it was no wall. On a coarse net a row of points off the band parts a
    low wall into several patches; all that hold points of it are it.
    """
    fit = wall.fit
    rel = surface.points_mm - fit.axis_point_mm
    rel -= (rel @ fit.axis)[:, None] * fit.axis
    off = np.maximum(np.linalg.norm(rel, axis=1), 1e-9)
    chosen = np.flatnonzero(free & (np.abs(off - fit.radius_mm) < band_mm + surface.chord_mm))
    normals = surface.normals[chosen].astype(np.float64)
    outwards = np.einsum("ij,ij->i", normals, rel[chosen]) / off[chosen] * (1.0 if wall.ring.kind == "boss" else -1.0)
    chosen = chosen[(outwards > SHIELD_COSINE) & (np.abs(normals @ fit.axis) < MOST_LEAN)]
    _, patch = surface.patches(chosen)
    own = patch[np.isin(chosen, wall.points)]
    if len(own) == 0:
        return None
    points = chosen[np.isin(patch, own)]
    return replace(wall.ring, axis_point_mm=fit.axis_point_mm, axis=fit.axis, radius_mm=fit.radius_mm, points=points)


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
        arc_deg=seen_arc_deg(surface, wall),
        depth_mm=wall.depth_mm,
        through=bore and _open_at_both_ends(surface, wall),
        axis_held=wall.held,
        rms_mm=wall.rms_mm,
        u_diameter_mm=2.0 * float(np.sqrt(covariance[4, 4])),
        u_position_mm=float(np.sqrt(max(covariance[0, 0], covariance[1, 1]))),
        u_axis_rad=wall.u_axis_rad,
        point_count=int(kept.sum()),
        faces=surface.faces_of(wall.points),
    )


def _open_at_both_ends(surface: Surface, wall: Wall) -> bool:
    """Whether nothing, seen or filled, crosses the axis between the mouths or just beyond what was seen of them."""
    fit = wall.fit
    u, v, w = frame_along(fit.axis)
    low, high = wall.segments_mm[0][0], wall.segments_mm[-1][1]
    reach = fit.radius_mm + 1.5
    rel = surface.points_mm - fit.axis_point_mm
    along = rel @ w
    # A filling may have no corner near the axis; its rim lies on the wall.
    near = (
        (along > low - reach)
        & (along < high + reach)
        & (np.einsum("ij,ij->i", rel, rel) - along**2 < (1.5 * fit.radius_mm) ** 2)
    )
    faces = surface.faces[within(surface.faces, near)]
    flat = np.stack([rel[faces] @ u, rel[faces] @ v], axis=2)
    return not bool(_round_the_origin(flat).any())


def _round_the_origin(triangles: Array) -> BoolArray:
    """Which flat triangles (n, 3, 2) hold the origin."""
    ahead = np.roll(triangles, -1, axis=1)
    side = triangles[..., 0] * ahead[..., 1] - triangles[..., 1] * ahead[..., 0]
    return np.asarray((side >= 0.0).all(axis=1) | (side <= 0.0).all(axis=1))
