"""What a scan already has at a bore's mouths: countersinks and counterbores, as they are about the rebuilt axis."""

from dataclasses import dataclass

from verifier.finding.feature import Cylinder, Features


@dataclass(frozen=True, slots=True)
class FoundMouth:
    """What opens a bore at one mouth.

    name : among the features; outward : +1 where that mouth looks along the bore's axis, -1 where against
    radius_mm : at the face, on the copy
    is_cone : it narrows towards the bore
    """

    name: str
    outward: int
    radius_mm: float
    is_cone: bool


def mouths_of(bore: Cylinder, found: Features, scale: float) -> tuple[FoundMouth, ...]:
    """The countersinks and counterbores of one bore. What powder takes off their width the rim beyond them holds.

    scale : what lengths of the scan are divided by on the copy
    """
    sinks = [(each.name, each.axis, each.mouth_diameter_mm, True) for each in found.cones if each.bore == bore.name]
    sinks += [(each.name, each.axis, each.diameter_mm, False) for each in found.counterbores if each.bore == bore.name]
    return tuple(
        FoundMouth(name, 1 if float(axis @ bore.axis) > 0.0 else -1, 0.5 * wide_mm / scale, is_cone)
        for name, axis, wide_mm, is_cone in sinks
        if wide_mm is not None
    )
