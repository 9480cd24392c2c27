"""Forms of what other rows were found on: flatness, parallelism, perpendicularity (ISO 1101:2017).

Each is the width of a zone: of the two planes a face lies between, or of the cylinder an axis lies in. It has no
reading; neither scale nor an even coat act on it. Of several faces the worst one counts.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from verifier.finding.feature import Cylinder, Features, Plane
from verifier.finding.form import Form, Smoothed, face_of, flatness, zone_along
from verifier.finding.walls import END_TRIM_MM, SHALLOW_TRIM
from verifier.measuring.candidate import root_sum_square, unit
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow

# 95 % points of chi-square for a tilt in one plane and in any: below them, scatter alone tilts an axis as much.
SURE_ABOVE = {1: 3.841, 2: 5.991}

Found = Mapping[str, Size]


@dataclass(frozen=True, slots=True)
class Datum:
    """What a form is judged against: direction (3,) unit, of a face's normal or of an axis, and its uncertainty."""

    name: str
    direction: Array
    is_axis: bool
    u_rad: float


@dataclass(frozen=True, slots=True)
class Judged:
    """A form of one face or axis, by the names of what it was taken from."""

    form: Form
    features: tuple[str, ...]


class _CannotTell(Exception):
    """The row has no value; the message is the reason."""


def flatness_of(features: Features, row: SheetRow, found: Found) -> Size:
    """The least zone between two parallel planes that holds each face of the row it is of; the worst face counts."""
    return _size(
        row, lambda: [Judged(flatness(_smoothed(features, p)), (p.name,)) for p in _planes(features, row.of, found)]
    )


def parallelism_of(features: Features, row: SheetRow, found: Found) -> Size:
    """The zone along the datum that holds a face or an axis.

    Without a datum row the larger face of a thickness or step is the datum of the other.
    """
    return _size(row, lambda: _against(features, row, found, square=False))


def perpendicularity_of(features: Features, row: SheetRow, found: Found) -> Size:
    """The zone square to the datum that holds a face (two planes) or an axis (a cylinder)."""
    return _size(row, lambda: _against(features, row, found, square=True))


def _size(row: SheetRow, judge: Callable[[], list[Judged]]) -> Size:
    try:
        worst = max(judge(), key=lambda judged: (judged.form.value_mm, judged.form.u_mm))
    except _CannotTell as reason:
        return Size(row.name, None, 0.0, 0, (), np.empty((0, 3)), 0.0, reason=str(reason))
    return Size(row.name, worst.form.value_mm, worst.form.u_mm, 0, worst.features, worst.form.points_mm)


def _against(features: Features, row: SheetRow, found: Found, *, square: bool) -> list[Judged]:
    planes, cylinders = _features(features, row.of, found)
    if row.datum is not None:
        datum = _datum(features, row.datum, found)
    elif len(planes) == 2:
        datum, planes = _as_datum(planes[0]), planes[1:]
    else:
        raise _CannotTell("nothing says what it is to be parallel to: give it a datum")
    faces = [_face(features, plane, datum, square) for plane in planes if plane.name != datum.name]
    return faces + [_axis(cylinder, datum, square) for cylinder in cylinders]


def _face(features: Features, plane: Plane, datum: Datum, square: bool) -> Judged:
    """The zone lies across the datum's direction (face parallel to a face, square to an axis), or else along it."""
    direction = datum.direction
    if square != datum.is_axis:
        direction = plane.normal - direction * float(plane.normal @ direction)
        direction = unit(direction) if np.any(direction) else plane.normal
    _see_direction(plane.name, float(plane.normal @ direction), "square" if square else "parallel")
    form = zone_along(_smoothed(features, plane), direction, root_sum_square(plane.u_tilt_rad, datum.u_rad))
    return Judged(form, (plane.name, datum.name))


def _axis(cylinder: Cylinder, datum: Datum, square: bool) -> Judged:
    """The cylinder (or two planes) along the datum that hold the axis over the depth seen: depth times sine of tilt."""
    if cylinder.axis_held != "own":
        raise _CannotTell(f"{cylinder.name} was seen too shallow for an axis of its own: it was held square to a face")
    along = float(cylinder.axis @ datum.direction)
    across = float(np.linalg.norm(np.cross(cylinder.axis, datum.direction)))
    lies_along = square != datum.is_axis
    _see_direction(cylinder.name, along if lies_along else across, "square" if square else "parallel")
    u_rad = root_sum_square(cylinder.u_axis_rad, datum.u_rad)
    sine, u_rad = _calmed(across, u_rad, freedoms=2) if lies_along else _calmed(abs(along), u_rad, freedoms=1)
    # The fit keeps clear of the rounded ends; the axis is judged over the whole of the wall.
    depth_mm = cylinder.depth_mm + 2.0 * min(END_TRIM_MM, SHALLOW_TRIM * cylinder.depth_mm)
    half = 0.5 * depth_mm * cylinder.axis
    ends = np.stack([cylinder.axis_point_mm - half, cylinder.axis_point_mm + half])
    return Judged(Form(depth_mm * sine, depth_mm * u_rad, ends), (cylinder.name, datum.name))


def _calmed(sine: float, u_rad: float, *, freedoms: int) -> tuple[float, float]:
    """A tilt less the scatter in its components; nought where scatter alone gives as much once in twenty times.

    Where it is called nought it may be as large as that, which k = 2 has to cover.
    """
    if sine**2 < SURE_ABOVE[freedoms] * u_rad**2:
        return 0.0, 0.5 * float(np.sqrt(SURE_ABOVE[freedoms])) * u_rad
    return float(np.sqrt(sine**2 - freedoms * u_rad**2)), u_rad


# Farther askew than this, a face or an axis is no bad square or parallel but another one.
MOST_ASKEW_DEG = 10.0


def _see_direction(name: str, cosine: float, row_says: str) -> None:
    if abs(cosine) < np.cos(np.radians(MOST_ASKEW_DEG)):
        raise _CannotTell(f"{name} is not even nearly {row_says} to the datum: see whether the row names the right one")


def _smoothed(features: Features, plane: Plane) -> Smoothed:
    if features.surface is None:
        raise _CannotTell("the points of the face are not at hand")
    return face_of(features.surface, plane, features.noise)


def _datum(features: Features, name: str, found: Found) -> Datum:
    planes, cylinders = _features(features, name, found)
    if planes:
        return _as_datum(planes[0])
    axis = cylinders[0]
    if axis.axis_held != "own":
        raise _CannotTell(f"{axis.name} was seen too shallow for an axis of its own, and cannot be a datum")
    return Datum(axis.name, axis.axis, True, axis.u_axis_rad)


def _as_datum(plane: Plane) -> Datum:
    return Datum(plane.name, plane.normal, False, plane.u_tilt_rad)


def _planes(features: Features, name: str | None, found: Found) -> list[Plane]:
    return _features(features, name, found)[0]


def _features(features: Features, name: str | None, found: Found) -> tuple[list[Plane], list[Cylinder]]:
    """The faces (largest first) or the bores of a row that was found; of an edge distance its face alone."""
    size = None if name is None else found.get(name)
    if size is None or size.measured_mm is None:
        raise _CannotTell(f"'{name}' was not found")
    if size.alternatives_mm:
        raise _CannotTell(f"which place '{name}' is, is not known")
    names = size.set_features or size.features
    planes = sorted((p for p in features.planes if p.name in names), key=lambda p: -p.area_mm2)
    return planes, [] if planes else [c for c in features.cylinders if c.name in names]
