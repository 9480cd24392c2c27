"""What was found on a part: planes, bores, bosses, overall sizes, each with how well it was seen."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from verifier.mesh import Array, IntArray

if TYPE_CHECKING:
    from verifier.finding.surface import Surface


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of the scan about smooth faces, estimated on the scan itself.

    white_mm : standard deviation of the part that differs from point to point
    correlated_mm : standard deviation of the part that neighbours share
    correlation_mm : length over which they share it
    """

    white_mm: float
    correlated_mm: float
    correlation_mm: float

    def mean_u_mm(self, area_mm2: float, point_count: int) -> float:
        """Standard uncertainty of a mean over a patch of this many points.

        Independent patches of correlated scatter are counted as area / (2 pi correlation length^2), at least one.
        """
        patches = max(1.0, area_mm2 / (2.0 * 3.141592653589793 * max(self.correlation_mm, 1e-6) ** 2))
        white = self.white_mm**2 / max(point_count, 1)
        return float((white + self.correlated_mm**2 / patches) ** 0.5)


@dataclass(frozen=True, slots=True)
class Plane:
    """A flat face: the points x with normal . x = offset_mm.

    name : 'plane 1', numbered by area, largest first
    normal : (3,) unit, out of the material
    centre_mm : (3,) middle of the patch, on the plane
    area_mm2 : measured area of the patch (filled faces do not count)
    rms_mm : of the points about the plane
    form_error_mm : flatness, robust peak to valley
    u_offset_mm, u_tilt_rad : standard uncertainties at the patch's middle
    faces : (k,) the solid's faces it was fitted to
    points_mm : (p, 3) at most 400 of its points, spread over the patch
    """

    name: str
    normal: Array
    centre_mm: Array
    area_mm2: float
    rms_mm: float
    form_error_mm: float
    u_offset_mm: float
    u_tilt_rad: float
    point_count: int
    faces: IntArray
    points_mm: Array

    @property
    def offset_mm(self) -> float:
        """Distance of the plane from the origin along its normal."""
        return float(self.normal @ self.centre_mm)


@dataclass(frozen=True, slots=True)
class Cylinder:
    """A bore or a boss.

    name : 'bore 1', 'boss 1', numbered by diameter, largest first
    kind : a bore's material lies outside, a boss's inside
    axis_point_mm : (3,) a point of the axis, at half the depth seen
    axis : (3,) unit
    diameter_mm : least-squares (orthogonal distance) diameter
    pin_diameter_mm : largest straight pin that enters (bore), smallest ring that passes over (boss), from the
        smoothed profile
    form_error_mm : roundness of the smoothed profile, peak to valley of the radius
    arc_deg : how much of the turn was really seen, 0 to 360
    depth_mm : length along the axis really seen
    through : open at both ends (bores)
    axis_held : 'own' or the name of the plane it was held square to because too little depth was seen
    u_diameter_mm, u_position_mm, u_axis_rad : standard uncertainties; position is per axis square to the cylinder's
    """

    name: str
    kind: Literal["bore", "boss"]
    axis_point_mm: Array
    axis: Array
    diameter_mm: float
    pin_diameter_mm: float
    form_error_mm: float
    arc_deg: float
    depth_mm: float
    through: bool
    axis_held: str
    rms_mm: float
    u_diameter_mm: float
    u_position_mm: float
    u_axis_rad: float
    point_count: int
    faces: IntArray


@dataclass(frozen=True, slots=True)
class Extent:
    """An overall size along one direction, as two flat calliper feet would close on it.

    name : 'length', 'width', 'height' of the part's own box (longest first), or 'extent along ...'
    direction : (3,) unit
    ends_mm : (2, 3) where the feet touch, first at the low end
    """

    name: str
    direction: Array
    length_mm: float
    u_length_mm: float
    ends_mm: Array


@dataclass(frozen=True, slots=True)
class Features:
    """Everything found on one solid.

    surface : the points it was found on, for what no single feature tells (a form, the least wall); None where features
        were put together by hand
    """

    planes: tuple[Plane, ...]
    cylinders: tuple[Cylinder, ...]
    extents: tuple[Extent, ...]
    noise: Noise
    notices: tuple[str, ...] = field(default=())
    surface: Surface | None = field(default=None, compare=False, repr=False)

    @property
    def bores(self) -> tuple[Cylinder, ...]:
        """The cylinders whose material lies outside."""
        return tuple(c for c in self.cylinders if c.kind == "bore")

    @property
    def bosses(self) -> tuple[Cylinder, ...]:
        """The cylinders whose material lies inside."""
        return tuple(c for c in self.cylinders if c.kind == "boss")
