"""Sizes of what opens a bore at its mouth: countersinks and counterbores, each of the bore a row names."""

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from verifier.finding.feature import Cone, Counterbore, Cylinder, Features
from verifier.finding.fits import frame_along
from verifier.measuring.candidate import Candidate, root_sum_square
from verifier.measuring.cylinders import diameter_candidate
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow, SizeKind

Of = Callable[[Features, SheetRow, Cylinder], list[Candidate]]


def mouth_walls(angle_deg: float) -> float:
    """Coated walls that the diameter of a countersink's mouth crosses: -2 tan(45 deg - angle / 4).

    A coat t lifts the face by t and moves the side by t along its normal. At a given height the side comes in by
    t / cos h, h being half of the angle; the mouth lies t higher up, where the cone is wider by t tan h. Each side then
    moves by t (1 - sin h) / cos h = t tan(45 deg - h / 2). A bore (h = 0) has -2, a face (h = 90 deg) none; 90 degrees
    between the sides give -0.83. The angle stays as it is.
    """
    return -2.0 * float(np.tan(np.radians(45.0 - 0.25 * angle_deg)))


def countersink_diameters(features: Features, row: SheetRow, bore: Cylinder) -> list[Candidate]:
    """The mouths of the bore's countersinks, where each meets its face."""
    return [
        Candidate(
            float(cone.mouth_diameter_mm),
            root_sum_square(cone.u_mouth_diameter_mm, cone.form_error_mm / np.sqrt(12.0)),
            mouth_walls(cone.angle_deg),
            (cone.name,),
            _across(cone.mouth_mm, cone.axis, float(cone.mouth_diameter_mm)),
            min(1.0, cone.arc_deg / 360.0),
        )
        for cone in _countersinks(features, bore)
        if cone.mouth_diameter_mm is not None
    ]


def countersink_angles(features: Features, row: SheetRow, bore: Cylinder) -> list[Candidate]:
    """The angles between opposite sides of the bore's countersinks, degrees."""
    return [
        Candidate(
            cone.angle_deg,
            cone.u_angle_deg,
            0,
            (cone.name,),
            _across(cone.centre_mm, cone.axis, cone.diameter_mm),
            min(1.0, cone.arc_deg / 360.0),
        )
        for cone in _countersinks(features, bore)
    ]


def counterbore_diameters(features: Features, row: SheetRow, bore: Cylinder) -> list[Candidate]:
    """The diameters of the bore's counterbores."""
    wide = {cylinder.name: cylinder for cylinder in features.cylinders}
    return [
        replace(diameter_candidate(wide[each.wide], row, walls=-2), features=(each.name, each.wide))
        for each in _counterbores(features, bore)
    ]


def counterbore_depths(features: Features, row: SheetRow, bore: Cylinder) -> list[Candidate]:
    """From the face to the floor, as a depth rod on the face reads it; a coat lifts both alike."""
    return [
        Candidate(
            each.depth_mm, each.u_depth_mm, 0, (each.name,), np.stack([each.floor_mm, each.mouth_mm]), each.floor_share
        )
        for each in _counterbores(features, bore)
        if each.depth_mm is not None
    ]


OF_A_BORE: Mapping[SizeKind, Of] = {
    "countersink diameter": countersink_diameters,
    "countersink angle": countersink_angles,
    "counterbore diameter": counterbore_diameters,
    "counterbore depth": counterbore_depths,
}


def _countersinks(features: Features, bore: Cylinder) -> list[Cone]:
    return [cone for cone in features.cones if cone.kind == "countersink" and cone.bore == bore.name]


def _counterbores(features: Features, bore: Cylinder) -> list[Counterbore]:
    return [each for each in features.counterbores if each.bore == bore.name]


def _across(middle: Array, axis: Array, diameter_mm: float) -> Array:
    """Two opposite points of a rim, (2, 3)."""
    sideways = frame_along(axis)[0]
    return np.asarray(middle + 0.5 * diameter_mm * np.stack([-sideways, sideways]))
