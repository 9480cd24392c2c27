"""What was found on the scan, as it is on the true copy."""

from dataclasses import replace

import numpy as np

from verifier.correcting.correction import Correction
from verifier.finding.feature import Cylinder, Extent, Features, Plane, Slot


def copied_features(found: Features, correction: Correction) -> Features:
    """Flats, bores, bosses, extents and slots where they lie on the true copy and as large as they are there.

    Powder moves a flat along its normal and a wall towards or from its axis; scale moves all. Cones, counterbores and
    patterns stay as the scan has them: nothing is asked of them on the copy.
    """
    scale, coat_mm = correction.scale_taken, correction.coat_taken_mm
    return replace(
        found,
        planes=tuple(_plane(plane, scale, coat_mm) for plane in found.planes),
        cylinders=tuple(copied_cylinder(cylinder, correction) for cylinder in found.cylinders),
        extents=tuple(_extent(extent, scale, coat_mm) for extent in found.extents),
        slots=tuple(_slot(slot, scale, correction.coat_taken_inside_mm) for slot in found.slots),
    )


def _plane(plane: Plane, scale: float, coat_mm: float) -> Plane:
    off = -coat_mm * plane.normal
    return replace(plane, centre_mm=(plane.centre_mm + off) / scale, points_mm=(plane.points_mm + off) / scale)


def copied_cylinder(cylinder: Cylinder, correction: Correction) -> Cylinder:
    """A bore, wider without its powder, or a boss, narrower; both less what the scanner made them larger."""
    scale = correction.scale_taken
    wider = -correction.taken_off_mm(-2.0 if cylinder.kind == "bore" else 2.0)
    return replace(
        cylinder,
        axis_point_mm=cylinder.axis_point_mm / scale,
        diameter_mm=(cylinder.diameter_mm + wider) / scale,
        pin_diameter_mm=(cylinder.pin_diameter_mm + wider) / scale,
    )


def _extent(extent: Extent, scale: float, coat_mm: float) -> Extent:
    inwards = coat_mm * np.outer((1.0, -1.0), extent.direction)
    length_mm = (extent.length_mm - 2.0 * coat_mm) / scale
    return replace(extent, length_mm=length_mm, ends_mm=(extent.ends_mm + inwards) / scale)


def _slot(slot: Slot, scale: float, coat_mm: float) -> Slot:
    return replace(
        slot,
        centre_mm=slot.centre_mm / scale,
        width_mm=(slot.width_mm + 2.0 * coat_mm) / scale,
        length_mm=(slot.length_mm + 2.0 * coat_mm) / scale,
    )
