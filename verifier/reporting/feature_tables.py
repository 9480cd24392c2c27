"""From the features found to their rows of the report."""

from collections.abc import Iterable

from verifier.finding.feature import (
    Ball,
    BoreRectangle,
    Cone,
    Counterbore,
    Cylinder,
    Extent,
    Features,
    Plane,
    Slot,
    Symmetry,
)
from verifier.inspection import FeatureTable
from verifier.reporting.points import as_point


def feature_tables(found: Features) -> Iterable[FeatureTable]:
    """A row for every feature, kind by kind."""
    yield from map(_plane, found.planes)
    yield from map(_cylinder, found.cylinders)
    yield from map(_slot, found.slots)
    yield from map(_cone, found.cones)
    yield from map(_counterbore, found.counterbores)
    yield from map(_ball, found.balls)
    yield from map(_rectangle, found.rectangles)
    yield from map(_symmetry, found.symmetries)
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


def _cone(cone: Cone) -> FeatureTable:
    at_mouth = cone.mouth_diameter_mm is not None
    return FeatureTable(
        name=cone.name,
        kind=cone.kind,
        centre_mm=as_point(cone.centre_mm),
        direction=as_point(cone.axis),
        size_mm=cone.mouth_diameter_mm if at_mouth else cone.diameter_mm,
        u_size_mm=cone.u_mouth_diameter_mm if at_mouth else cone.u_diameter_mm,
        angle_deg=cone.angle_deg,
        u_angle_deg=cone.u_angle_deg,
        bore=cone.bore or None,
        face=cone.face or None,
        off_axis_mm=cone.off_axis_mm if cone.kind == "countersink" else None,
        form_error_mm=cone.form_error_mm,
        arc_deg=cone.arc_deg,
        depth_mm=cone.depth_mm,
        rms_mm=cone.rms_mm,
        axis_held=cone.axis_held,
    )


def _counterbore(counterbore: Counterbore) -> FeatureTable:
    return FeatureTable(
        name=counterbore.name,
        kind="counterbore",
        centre_mm=as_point(counterbore.floor_mm),
        direction=as_point(counterbore.axis),
        size_mm=counterbore.diameter_mm,
        u_size_mm=counterbore.u_diameter_mm,
        bore=counterbore.bore,
        face=counterbore.face or None,
        form_error_mm=counterbore.floor_form_error_mm,
        arc_deg=360.0 * counterbore.floor_share,
        depth_mm=counterbore.depth_mm,
        u_depth_mm=counterbore.u_depth_mm if counterbore.depth_mm is not None else None,
    )


def _ball(ball: Ball) -> FeatureTable:
    return FeatureTable(
        name=ball.name,
        kind=ball.kind,
        centre_mm=as_point(ball.centre_mm),
        direction=as_point(ball.towards),
        size_mm=ball.diameter_mm,
        u_size_mm=ball.u_diameter_mm,
        form_error_mm=ball.form_error_mm,
        seen_share=ball.seen_share,
        rms_mm=ball.rms_mm,
    )


def _rectangle(rectangle: BoreRectangle) -> FeatureTable:
    return FeatureTable(
        name=rectangle.name,
        kind="rectangle",
        centre_mm=as_point(rectangle.centre_mm),
        direction=as_point(rectangle.along),
        size_mm=rectangle.short_mm,
        u_size_mm=rectangle.u_short_mm,
        length_mm=rectangle.long_mm,
        u_length_mm=rectangle.u_long_mm,
        form_error_mm=rectangle.off_mm,
        bores=rectangle.bores,
    )


def _symmetry(symmetry: Symmetry) -> FeatureTable:
    return FeatureTable(
        name=symmetry.name,
        kind="symmetry plane",
        centre_mm=as_point(symmetry.point_mm),
        direction=as_point(symmetry.normal),
        size_mm=None,
        u_size_mm=0.5 * symmetry.off_mm,  # a plane half-way moves half as far as what it mirrors
        form_error_mm=symmetry.off_mm,
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
