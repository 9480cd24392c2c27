"""Counterbores: of two bores on one axis the wider one, where a flat floor lies between them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations

import numpy as np

from verifier.finding.countersinks import KNOWN_WITHIN_U, MOST_ASKEW_DEG, MOST_OFF_MM
from verifier.finding.feature import Counterbore, Cylinder, Noise, Plane
from verifier.finding.fits import fit_plane, frame_along
from verifier.finding.planes import Flat, plane_of
from verifier.finding.rings import arc_deg
from verifier.finding.surface import Surface
from verifier.finding.walls import END_TRIM_MM, SHALLOW_TRIM
from verifier.mesh import Array

# A floor narrower than this, from bore to wall, is a burr or a mismatch of two drills.
LEAST_FLOOR_MM = 0.5
FLOOR_SQUARE_DEG, FACE_SQUARE_DEG = 15.0, 12.0
# On a floor three points wide the averaged normals lean towards the wall and the bore; where they lie tells the floor.
FACING_DEG = 40.0
# The floor lies between the ends of what was seen of both bores, which are trimmed and rounded.
REACH_MM = 1.5
LEAST_POINTS, LEAST_SHARE = 15, 0.5


@dataclass(frozen=True, slots=True)
class _Face:
    """Where the axis meets a flat face: (3,), and the standard uncertainty of the height there."""

    name: str
    at_mm: Array
    u_mm: float


def find_counterbores(
    surface: Surface, cylinders: Sequence[Cylinder], planes: Sequence[Plane], noise: Noise
) -> tuple[Counterbore, ...]:
    """Counterbores, widest first."""
    bores = [cylinder for cylinder in cylinders if cylinder.kind == "bore"]
    found = [
        counterbore
        for wide, bore in permutations(bores, 2)
        if _one_axis(wide, bore)
        for counterbore in [_between(surface, wide, bore, planes, noise)]
        if counterbore is not None
    ]
    found.sort(key=lambda each: -each.diameter_mm)
    return tuple(replace(each, name=f"counterbore {i + 1}") for i, each in enumerate(found))


def _one_axis(wide: Cylinder, bore: Cylinder) -> bool:
    if wide.diameter_mm - bore.diameter_mm < 2.0 * LEAST_FLOOR_MM:
        return False
    turned = np.radians(MOST_ASKEW_DEG) + KNOWN_WITHIN_U * float(np.hypot(wide.u_axis_rad, bore.u_axis_rad))
    apart = wide.axis_point_mm - bore.axis_point_mm
    off = float(np.linalg.norm(apart - bore.axis * (apart @ bore.axis)))
    play = MOST_OFF_MM + KNOWN_WITHIN_U * float(np.hypot(wide.u_position_mm, bore.u_position_mm))
    return abs(float(wide.axis @ bore.axis)) > np.cos(min(turned, np.radians(15.0))) and off < play


def _between(
    surface: Surface, wide: Cylinder, bore: Cylinder, planes: Sequence[Plane], noise: Noise
) -> Counterbore | None:
    """The counterbore that two bores on one axis make; None where no flat floor was seen between them."""
    apart = wide.axis_point_mm - bore.axis_point_mm
    axis = wide.axis * float(np.sign(apart @ wide.axis) or 1.0)
    floor = _floor(surface, wide, bore, axis, noise)
    if floor is None:
        return None
    plane, share = floor
    low = _met(plane, wide.axis_point_mm, axis)
    face = _face(planes, wide, axis)
    depth, u_depth = (None, 0.0) if face is None else _depth(low, face, planes)
    return Counterbore(
        name="",
        bore=bore.name,
        wide=wide.name,
        face="" if face is None else face.name,
        floor_mm=low.at_mm,
        mouth_mm=low.at_mm if face is None else face.at_mm,
        axis=axis,
        diameter_mm=wide.diameter_mm,
        u_diameter_mm=wide.u_diameter_mm,
        depth_mm=depth,
        u_depth_mm=u_depth,
        floor_form_error_mm=plane.form_error_mm,
        floor_share=share,
        faces=plane.faces,
    )


def _floor(surface: Surface, wide: Cylinder, bore: Cylinder, axis: Array, noise: Noise) -> tuple[Plane, float] | None:
    """The flat ring between both walls, and in how much of the turn it was seen."""
    rel = surface.points_mm - wide.axis_point_mm
    along = rel @ axis
    off = np.sqrt(np.maximum(np.einsum("ij,ij->i", rel, rel) - along**2, 0.0))
    inner, outer = 0.5 * bore.diameter_mm, 0.5 * wide.diameter_mm
    trim = min(END_TRIM_MM, SHALLOW_TRIM * (outer - inner))
    end = -0.5 * wide.depth_mm
    top = float((bore.axis_point_mm - wide.axis_point_mm) @ axis) + 0.5 * bore.depth_mm
    low, high = sorted((end, top))
    near = (
        surface.seen
        & (off > inner + trim)
        & (off < outer - trim)
        & (along > low - REACH_MM)
        & (along < high + REACH_MM)
    )
    points = np.flatnonzero(near)
    facing = surface.normals[points] @ axis.astype(np.float32)
    points = points[facing > np.cos(np.radians(FACING_DEG))]
    if len(points) < LEAST_POINTS:
        return None
    fit = fit_plane(surface.points_mm[points], robust=True, least_spread_mm=max(noise.white_mm, 1e-4))
    sign = np.sign(fit.normal @ axis)
    band = max(5.0 * noise.spread_mm, 0.1)
    if (
        abs(float(fit.normal @ axis)) < np.cos(np.radians(FLOOR_SQUARE_DEG))
        or np.mean(np.abs(fit.residuals_mm) > band) > 0.2
    ):
        return None
    u, v, _ = frame_along(axis)
    turn = np.arctan2(rel[points] @ v, rel[points] @ u)
    share = min(1.0, arc_deg(turn, surface.spacing_mm / (0.5 * (inner + outer))) / 360.0)
    area = float(surface.areas_mm2[points].sum())
    flat = Flat(fit.normal * sign, fit.centre_mm, area, points, fit.residuals_mm * sign, fit.weights)
    return (plane_of(flat, surface, noise, 0), share) if share >= LEAST_SHARE else None


def _met(plane: Plane, point_mm: Array, axis: Array) -> _Face:
    at = point_mm + axis * float((plane.centre_mm - point_mm) @ plane.normal / (axis @ plane.normal))
    return _Face(plane.name, at, float(np.hypot(plane.u_offset_mm, plane.u_rise(at - plane.centre_mm))))


def _face(planes: Sequence[Plane], wide: Cylinder, axis: Array) -> _Face | None:
    """The flat face that the wider bore opens on: square to it and where its wall ends."""
    end = 0.5 * wide.depth_mm
    found = []
    for plane in planes:
        if float(plane.normal @ axis) < np.cos(np.radians(FACE_SQUARE_DEG)):
            continue
        face = _met(plane, wide.axis_point_mm, axis)
        beyond = float((face.at_mm - wide.axis_point_mm) @ axis) - end
        near = float(np.linalg.norm(plane.points_mm - face.at_mm, axis=1).min()) < 0.5 * wide.diameter_mm + 2.0
        if near and -END_TRIM_MM < beyond < REACH_MM:
            found.append((abs(beyond), face))
    return min(found, key=lambda each: each[0], default=(0.0, None))[1]


def _depth(floor: _Face, face: _Face, planes: Sequence[Plane]) -> tuple[float, float]:
    """What a depth rod reads that stands square on the face: the floor's middle from it, along the face's normal."""
    normal = next(plane.normal for plane in planes if plane.name == face.name)
    return abs(float((face.at_mm - floor.at_mm) @ normal)), float(np.hypot(floor.u_mm, face.u_mm))
