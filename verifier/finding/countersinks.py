"""Cones with their names: which of them widen a bore out to a flat face, and how wide they are there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.finding.cones import Side
from verifier.finding.feature import Cone, Cylinder, Noise, Plane
from verifier.finding.fits import frame_along
from verifier.finding.profile import profile_of
from verifier.finding.surface import Surface
from verifier.finding.walls import END_TRIM_MM
from verifier.mesh import Array

# A countersink is on its bore's axis: moulded ones to 0.1 mm, those drilled by hand to a quarter (common practice, no
# source), and turned with it to 3 degrees.
MOST_OFF_MM, MOST_ASKEW_DEG = 0.25, 3.0
# Between what was seen of a cone and the face it opens on lies the trimmed end and a rounded edge of half a millimetre.
RIM_MM = 0.6
# A face the axis stands less square to than this is one the cone runs out of at a slant.
FACE_SQUARE_DEG = 12.0
KNOWN_WITHIN_U = 4.0


@dataclass(frozen=True, slots=True)
class Mouth:
    """Where a cone meets the face at its wide end: how far along its axis, that place, its radius there."""

    face: str
    along_mm: float
    radius_mm: float
    u_radius_mm: float


def named_cones(
    surface: Surface, sides: Sequence[Side], cylinders: Sequence[Cylinder], planes: Sequence[Plane], noise: Noise
) -> tuple[Cone, ...]:
    """Countersinks, then inner and outer cones, each numbered by its diameter, widest first."""
    cones = [_cone(surface, side, cylinders, planes, noise) for side in sides]
    cones.sort(key=lambda cone: -(cone.mouth_diameter_mm or cone.diameter_mm))
    kinds = ("countersink", "inner cone", "outer cone")
    of_kind = [[cone for cone in cones if cone.kind == kind] for kind in kinds]
    return tuple(replace(cone, name=f"{cone.kind} {i + 1}") for group in of_kind for i, cone in enumerate(group))


def _cone(surface: Surface, side: Side, cylinders: Sequence[Cylinder], planes: Sequence[Plane], noise: Noise) -> Cone:
    fit, seen = side.fit, side.fit.weights > 0.0
    mouth = _mouth(side, planes, surface.spacing_mm)
    bore, off_mm = _bore_of(side, cylinders) if side.inner else (None, 0.0)
    middle = 0.5 * (side.low_mm + side.high_mm)
    centre = fit.axis_point_mm + middle * fit.axis
    sunk = bore is not None and mouth is not None
    covariance = side.covariance
    return Cone(
        name="",
        kind="countersink" if sunk else "inner cone" if side.inner else "outer cone",
        centre_mm=centre,
        axis=fit.axis,
        angle_deg=2.0 * float(np.degrees(fit.half_rad)),
        diameter_mm=2.0 * side.radius_at_mm(middle),
        mouth_diameter_mm=None if mouth is None else 2.0 * mouth.radius_mm,
        mouth_mm=centre if mouth is None else fit.axis_point_mm + mouth.along_mm * fit.axis,
        bore="" if bore is None else bore.name,
        face="" if mouth is None else mouth.face,
        off_axis_mm=off_mm,
        axis_held="along a bore or face" if side.held else "own",
        form_error_mm=_roundness_mm(surface, side, noise),
        arc_deg=side.arc_deg,
        depth_mm=side.high_mm - side.low_mm,
        rms_mm=side.rms_mm,
        u_angle_deg=2.0 * float(np.degrees(np.sqrt(covariance[5, 5]))),
        u_diameter_mm=2.0 * side.u_radius_mm(middle),
        u_mouth_diameter_mm=0.0 if mouth is None else 2.0 * mouth.u_radius_mm,
        u_position_mm=float(np.sqrt(max(covariance[0, 0], covariance[1, 1]))),
        u_axis_rad=float(np.sqrt(max(covariance[2, 2], covariance[3, 3]))),
        point_count=int(seen.sum()),
        faces=surface.faces_of(side.whole),
    )


def _mouth(side: Side, planes: Sequence[Plane], spacing_mm: float) -> Mouth | None:
    """The flat face round the wide end, out of which the cone comes square (to 12 degrees)."""
    fit = side.fit
    mouths = []
    for plane in planes:
        rises = float(plane.normal @ fit.axis)
        if rises * (1.0 if side.inner else -1.0) < np.cos(np.radians(FACE_SQUARE_DEG)):
            continue
        along = float((plane.centre_mm - fit.axis_point_mm) @ plane.normal) / rises
        radius = side.radius_at_mm(along)
        beyond = (along - side.high_mm) / np.cos(fit.half_rad)
        if not -END_TRIM_MM < beyond < END_TRIM_MM + RIM_MM + spacing_mm or radius <= 0.0:
            continue
        at = fit.axis_point_mm + along * fit.axis
        if not _lies_round(plane, at, radius):
            continue
        u_along = float(np.hypot(plane.u_offset_mm, plane.u_rise(at - plane.centre_mm)))
        mouths.append(Mouth(plane.name, along, radius, side.u_radius_mm(along, u_along)))
    return min(mouths, key=lambda mouth: abs(mouth.along_mm - side.high_mm), default=None)


def _lies_round(plane: Plane, at: Array, radius_mm: float) -> bool:
    """Whether the plane has points on three sides of the rim, near it, and hardly any within it."""
    rel = plane.points_mm - at
    off = np.linalg.norm(rel, axis=1)
    kept = 1.1 * float(np.sqrt(plane.area_mm2 / len(plane.points_mm)))
    u, v, _ = frame_along(plane.normal)
    near = off < radius_mm + 2.0 + 2.0 * kept
    quarters = np.unique(np.floor((np.arctan2(rel[near] @ v, rel[near] @ u) / np.pi + 1.0) * 2.0 - 1e-9))
    return bool(len(quarters) >= 3 and np.mean(off < 0.7 * radius_mm) < 0.05)


def _bore_of(side: Side, cylinders: Sequence[Cylinder]) -> tuple[Cylinder | None, float]:
    """The bore that a cone widens, coaxial and ending where it begins; and how far the axes are apart."""
    fit = side.fit
    found: list[tuple[float, float, Cylinder]] = []
    for bore in cylinders:
        if bore.kind != "bore" or abs(float(bore.axis @ fit.axis)) < _least_cosine(side, bore):
            continue
        rel = bore.axis_point_mm - fit.axis_point_mm
        off = float(np.linalg.norm(rel - bore.axis * (rel @ bore.axis)))
        u = float(np.sqrt(bore.u_position_mm**2 + max(side.covariance[0, 0], side.covariance[1, 1])))
        if off > MOST_OFF_MM + KNOWN_WITHIN_U * u:
            continue
        meets = (0.5 * bore.diameter_mm - fit.radius_mm) / np.tan(fit.half_rad)
        end = float(rel @ fit.axis) + 0.5 * bore.depth_mm
        # The bore ends below what was seen of the cone, and the cone narrows down to it.
        gap = meets - end
        if meets < side.low_mm + END_TRIM_MM and abs(gap) < 4.0 * END_TRIM_MM + RIM_MM:
            found.append((abs(gap), off, bore))
    if not found:
        return None, 0.0
    _, off, bore = min(found, key=lambda each: each[0])
    return bore, off


def _least_cosine(side: Side, bore: Cylinder) -> float:
    u_rad = float(np.sqrt(bore.u_axis_rad**2 + max(side.covariance[2, 2], side.covariance[3, 3])))
    return float(np.cos(min(np.radians(MOST_ASKEW_DEG) + KNOWN_WITHIN_U * u_rad, np.radians(15.0))))


def _roundness_mm(surface: Surface, side: Side, noise: Noise) -> float:
    """Peak to valley of the two and three lobes round the side, square to it."""
    fit, seen = side.fit, side.fit.weights > 0.0
    at = surface.points_mm[side.points[seen]]
    u, v, w = frame_along(fit.axis)
    rel = at - fit.axis_point_mm
    angle = np.arctan2(rel @ v, rel @ u)
    return profile_of(angle, rel @ w, fit.residuals_mm[seen], at, noise, bore=side.inner).roundness_mm
