"""From the features found to their rows of the report."""

from collections.abc import Iterable

from verifier.finding.feature import Cylinder, Extent, Features, Plane, Slot
from verifier.inspection import FeatureTable
from verifier.reporting.points import as_point


def feature_tables(found: Features) -> Iterable[FeatureTable]:
    """A row for every feature, kind by kind."""
    yield from map(_plane, found.planes)
    yield from map(_cylinder, found.cylinders)
    yield from map(_slot, found.slots)
    yield from map(_extent, found.extents)


def _plane(plane: Plane) -> FeatureTable:
    return FeatureTable(
        name=plane.name,
        kind="plane",
        centre_mm=as_point(plane.centre_mm),
        direction=as_point(plane.normal),
        size_mm=None,
        u_size_mm=plane.u_offset_mm,
        form_error_mm=plane.form_error_mm,
        area_mm2=plane.area_mm2,
        rms_mm=plane.rms_mm,
    )


def _cylinder(cylinder: Cylinder) -> FeatureTable:
    return FeatureTable(
        name=cylinder.name,
        kind=cylinder.kind,
        centre_mm=as_point(cylinder.axis_point_mm),
        direction=as_point(cylinder.axis),
        size_mm=cylinder.diameter_mm,
        u_size_mm=cylinder.u_diameter_mm,
        form_error_mm=cylinder.form_error_mm,
        pin_diameter_mm=cylinder.pin_diameter_mm,
        arc_deg=cylinder.arc_deg,
        depth_mm=cylinder.depth_mm,
        through=cylinder.through,
        rms_mm=cylinder.rms_mm,
        axis_held=cylinder.axis_held,
    )


def _slot(slot: Slot) -> FeatureTable:
    return FeatureTable(
        name=slot.name,
        kind="slot",
        centre_mm=as_point(slot.centre_mm),
        direction=as_point(slot.axis),
        size_mm=slot.width_mm,
        u_size_mm=slot.u_width_mm,
        length_mm=slot.length_mm,
        u_length_mm=slot.u_length_mm,
        form_error_mm=slot.form_error_mm,
        depth_mm=slot.depth_mm,
        rms_mm=slot.rms_mm,
    )


def _extent(extent: Extent) -> FeatureTable:
    return FeatureTable(
        name=extent.name,
        kind="extent",
        centre_mm=as_point(extent.ends_mm.mean(axis=0)),
        direction=as_point(extent.direction),
        size_mm=extent.length_mm,
        u_size_mm=extent.u_length_mm,
    )
