"""Planes that mirror what was found on a part onto itself."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from verifier.finding.feature import Cylinder, Plane, Symmetry
from verifier.mesh import Array

# A feature and its mirror image are one where they differ by less than this, besides what the scan leaves unsure: a
# moulded part is symmetric to about so much (common practice, no source).
OFF_MM, DIAMETER_MM, TURNED_DEG, KNOWN_WITHIN_U = 0.25, 0.2, 1.5, 3.0
# Faces smaller than this share of the largest are marks and ribs; areas of like faces agree to this share.
LEAST_SHARE, AREAS_AGREE = 0.03, 0.2
# Of more faces the largest are compared; with more bores the faces alone say where a plane may lie.
MOST_FACES, MOST_PAIRED = 40, 20
SAME_PLANE_DEG, SAME_PLANE_MM = 2.0, 0.5


def find_symmetries(planes: Sequence[Plane], cylinders: Sequence[Cylinder]) -> tuple[Symmetry, ...]:
    """Mirror planes of all bores, bosses and larger faces together, the surest first.

    Nothing is said of what is no such feature: a part may differ from its mirror image by a rounding.
    """
    largest = max((plane.area_mm2 for plane in planes), default=0.0)
    faces = [plane for plane in planes if plane.area_mm2 >= LEAST_SHARE * largest][:MOST_FACES]
    found: list[Symmetry] = []
    for normal, point in _candidates(faces, cylinders):
        if any(_same(normal, point, known) for known in found):
            continue
        off = _worst_mm(normal, point, faces, cylinders)
        if off is not None:
            found.append(Symmetry("", normal, point, off, len(faces) + len(cylinders)))
    found.sort(key=lambda each: each.off_mm)
    return tuple(replace(each, name=f"symmetry plane {i + 1}") for i, each in enumerate(found))


def _candidates(faces: Sequence[Plane], cylinders: Sequence[Cylinder]) -> Iterator[tuple[Array, Array]]:
    """Half-way between two faces that look away from or at each other, and between two equal bores or bosses."""
    for a, b in combinations(faces, 2):
        if float(a.normal @ b.normal) < -np.cos(np.radians(TURNED_DEG)) and _areas_agree(a, b):
            normal = (a.normal - b.normal) / np.linalg.norm(a.normal - b.normal)
            yield normal, 0.5 * (a.centre_mm + b.centre_mm)
    for one, other in combinations(cylinders if len(cylinders) <= MOST_PAIRED else (), 2):
        apart = other.axis_point_mm - one.axis_point_mm
        apart = apart - one.axis * float(apart @ one.axis)
        if _equal(one, other) and np.linalg.norm(apart) > 1.0:
            yield apart / np.linalg.norm(apart), 0.5 * (one.axis_point_mm + other.axis_point_mm)


def _same(normal: Array, point: Array, known: Symmetry) -> bool:
    near = abs(float((point - known.point_mm) @ known.normal)) < SAME_PLANE_MM
    return near and abs(float(normal @ known.normal)) > np.cos(np.radians(SAME_PLANE_DEG))


def _worst_mm(normal: Array, point: Array, faces: Sequence[Plane], cylinders: Sequence[Cylinder]) -> float | None:
    """How far the worst feature lies from another's mirror image; None where one has no image."""
    worst = 0.0
    for face in faces:
        off = min((_face_off(face, other, normal, point) for other in faces), default=np.inf)
        if off > OFF_MM:
            return None
        worst = max(worst, off)
    for cylinder in cylinders:
        off, u = min((_axis_off(cylinder, other, normal, point) for other in cylinders), default=(np.inf, 0.0))
        if off > OFF_MM + KNOWN_WITHIN_U * u:
            return None
        worst = max(worst, off)
    return worst


def _mirrored(vector: Array, normal: Array) -> Array:
    return np.asarray(vector - 2.0 * normal * float(vector @ normal))


def _image(place_mm: Array, normal: Array, point: Array) -> Array:
    return np.asarray(point + _mirrored(place_mm - point, normal))


def _face_off(face: Plane, other: Plane, normal: Array, point: Array) -> float:
    """Distance of a face's mirror image from another, at the image's middle; endless where they are unlike."""
    if float(_mirrored(face.normal, normal) @ other.normal) < np.cos(np.radians(TURNED_DEG)):
        return np.inf
    image = _image(face.centre_mm, normal, point)
    # The same plane may hold several faces: the image has to lie where the other one is.
    beside = float(np.linalg.norm(image - other.centre_mm))
    if not _areas_agree(face, other) or beside > 0.1 * float(np.sqrt(other.area_mm2)) + 1.0:
        return np.inf
    return abs(float((image - other.centre_mm) @ other.normal))


def _areas_agree(one: Plane, other: Plane) -> bool:
    return abs(one.area_mm2 - other.area_mm2) < AREAS_AGREE * max(one.area_mm2, other.area_mm2)


def _axis_off(one: Cylinder, other: Cylinder, normal: Array, point: Array) -> tuple[float, float]:
    """Distance of an axis' mirror image from another axis at half its depth, and what the scan leaves unsure of it."""
    turned = abs(float(_mirrored(one.axis, normal) @ other.axis))
    unsure = TURNED_DEG + KNOWN_WITHIN_U * float(np.degrees(np.hypot(one.u_axis_rad, other.u_axis_rad)))
    if not _equal(one, other) or turned < np.cos(np.radians(unsure)):
        return np.inf, 0.0
    apart = _image(one.axis_point_mm, normal, point) - other.axis_point_mm
    along = float(apart @ other.axis)
    # A bore seen through is as good anywhere along its axis; a blind one or a boss is so only at its place.
    slack = 0.5 * (one.depth_mm + other.depth_mm)
    if abs(along) > slack:
        return np.inf, 0.0
    u = float(np.hypot(one.u_position_mm, other.u_position_mm))
    return float(np.linalg.norm(apart - other.axis * along)), u


def _equal(one: Cylinder, other: Cylinder) -> bool:
    return one.kind == other.kind and abs(one.diameter_mm - other.diameter_mm) < DIAMETER_MM
