"""What was found on a part: planes, bores, bosses, overall sizes, each with how well it was seen."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from verifier.mesh import Array, IntArray

if TYPE_CHECKING:
    from verifier.finding.surface import Surface

# Of e to less than this nothing is left, and single precision takes long over what it can hardly hold.
LEAST_EXPONENT = np.float32(-80.0)
# Scatter that a fit has left at next to nothing, far under a step of the numbers, is none.
LEAST_SCATTER_MM = 1e-10


@dataclass(frozen=True, slots=True)
class Noise:
    """Scatter of the scan about smooth faces, estimated on the scan itself.

    white_mm : standard deviation of the part that differs from point to point
    correlated_mm : standard deviation of the part that neighbours share
    correlation_mm : length over which they share it
    wave_mm, wavelength_mm : the same of long waves, as joining views and uneven powder leave them
    laid_mm, laid_over_mm : the same of how the scanner lays its pictures on one another, which moves a face as a whole
    seen_on_mm2 : area of the flats it was estimated on; long waves are known as badly as there are few of them on it
    """

    white_mm: float
    correlated_mm: float
    correlation_mm: float
    wave_mm: float = 0.0
    wavelength_mm: float = 15.0
    laid_mm: float = 0.0
    laid_over_mm: float = 30.0
    seen_on_mm2: float = 0.0

    @property
    def spread_mm(self) -> float:
        """Standard deviation of a single point."""
        return float((self.white_mm**2 + self.correlated_mm**2 + self.wave_mm**2) ** 0.5)

    def mean_u_mm(self, area_mm2: float, point_count: int) -> float:
        """Standard uncertainty of a mean over a patch of this many points, against the long waves round it.

        Independent patches of correlated scatter are counted as area / (2 pi correlation length^2), at least one.
        """
        patches = max(1.0, area_mm2 / (2.0 * np.pi * max(self.correlation_mm, 1e-6) ** 2))
        white = self.white_mm**2 / max(point_count, 1)
        return float((white + self.correlated_mm**2 / patches) ** 0.5)

    def shared_mm2(self, square_mm2: Array) -> Array:
        """Covariance of the scatter of points of one surface, from their squared distances, mm2."""
        return self._shared_mm2(square_mm2, 0.0)

    def shared_by_cells_mm2(self, square_mm2: Array, cell_mm2: float) -> Array:
        """The same, (k, k), of points drawn at random, each of which stands for the mean over a cell.

        Taken as a Gaussian one of that area, a cell shortens shared scatter by l^2 / (l^2 + cell / 2 pi) and lets it
        reach as much farther. What a cell shares with itself is partly told by others drawn into it, and counts less.
        """
        return self._shared_mm2(square_mm2, cell_mm2)

    def _shared_mm2(self, square_mm2: Array, cell_mm2: float) -> Array:
        # The tables have a third of a million entries: seven digits do, and are worked out four times as fast in place.
        square = square_mm2.astype(np.float32)
        one_place = np.flatnonzero(square == 0.0)
        total = np.zeros_like(square)
        shared = (
            (self.correlated_mm, self.correlation_mm),
            (self.wave_mm, self.wavelength_mm),
            (self.laid_mm, self.laid_over_mm),
        )
        for sd, length in shared:
            if sd < LEAST_SCATTER_MM:
                continue
            within = max(length, 1e-6) ** 2
            reach = within + cell_mm2 / (2.0 * np.pi)
            term = square * np.float32(-0.5 / reach)
            np.maximum(term, LEAST_EXPONENT, out=term)
            np.exp(term, out=term)
            term *= np.float32(sd**2 * within / reach)
            if cell_mm2 > 0.0:
                term.ravel()[one_place] *= np.float32(within / reach)
            total += term
        return total.astype(np.float64)


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
    slope_covariance : (3, 3) of the plane's slope as a vector in space; None: u_tilt_rad in all directions
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
    slope_covariance: Array | None = None

    @property
    def offset_mm(self) -> float:
        """Distance of the plane from the origin along its normal."""
        return float(self.normal @ self.centre_mm)

    def u_rise(self, way: Array) -> float:
        """Standard uncertainty of the plane's rise over a way, (3,), from its slope alone; in the way's unit."""
        level = way - self.normal * (self.normal @ way)
        if self.slope_covariance is None:
            return self.u_tilt_rad * float(np.linalg.norm(level))
        return float(np.sqrt(max(float(level @ self.slope_covariance @ level), 0.0)))


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
class Slot:
    """A slot: a hollow with two flat sides and half-round ends.

    name : 'slot 1', numbered by width, widest first
    centre_mm : (3,) on its axis, at half the depth seen
    axis : (3,) unit, the way it goes in; along : (3,) unit, the way it is long
    width_mm, length_mm : between the flats, and from end to end
    u_width_mm, u_length_mm, u_position_mm : standard uncertainties
    form_error_mm : spread of the smoothed wall about the fitted one, two standard deviations
    seen_share : of the run round the wall, 0 to 1
    depth_mm : really seen
    """

    name: str
    centre_mm: Array
    axis: Array
    along: Array
    width_mm: float
    length_mm: float
    u_width_mm: float
    u_length_mm: float
    u_position_mm: float
    form_error_mm: float
    seen_share: float
    depth_mm: float
    rms_mm: float
    faces: IntArray

    def named(self, name: str) -> Slot:
        """The same under another name."""
        return replace(self, name=name)


@dataclass(frozen=True, slots=True)
class Cone:
    """A conical face that goes once round: a countersink, or a taper inside or outside.

    name : 'countersink 1', 'inner cone 1', 'outer cone 1', numbered by diameter, widest first
    kind : a countersink widens a bore out to a flat face, on the bore's axis; an inner cone's material lies outside
    centre_mm : (3,) on its axis, at half the depth seen
    axis : (3,) unit, towards the wide end
    angle_deg : between opposite sides
    diameter_mm : at the centre
    mouth_diameter_mm : where it meets the flat face at its wide end, both as if the edge were sharp; None without one
    mouth_mm : (3,) where its axis meets that face; its centre without one
    bore, face : names of the bore it widens and of the face it opens on; '' without
    off_axis_mm : of its axis from the bore's, at its centre
    axis_held : 'own', or what its axis was held along because too little of the side was seen
    form_error_mm : roundness of the smoothed side, peak to valley
    arc_deg, depth_mm : of the turn and along the axis really seen
    """

    name: str
    kind: Literal["countersink", "inner cone", "outer cone"]
    centre_mm: Array
    axis: Array
    angle_deg: float
    diameter_mm: float
    mouth_diameter_mm: float | None
    mouth_mm: Array
    bore: str
    face: str
    off_axis_mm: float
    axis_held: str
    form_error_mm: float
    arc_deg: float
    depth_mm: float
    rms_mm: float
    u_angle_deg: float
    u_diameter_mm: float
    u_mouth_diameter_mm: float
    u_position_mm: float
    u_axis_rad: float
    point_count: int
    faces: IntArray


@dataclass(frozen=True, slots=True)
class Counterbore:
    """A wider bore on a bore's axis, with a flat floor between the two.

    name : 'counterbore 1', numbered by diameter, widest first
    bore, wide, face : names of the bore it is of, of the wider one, and of the flat face it opens on ('' without)
    floor_mm : (3,) where the axis meets the floor; mouth_mm, the face, or the floor once more without one
    axis : (3,) unit, from the floor to the face
    diameter_mm : of the wider bore
    depth_mm : from the face to the floor; None without a face
    floor_form_error_mm : flatness of the floor; floor_share : of the turn in which it was seen, 0 to 1
    """

    name: str
    bore: str
    wide: str
    face: str
    floor_mm: Array
    mouth_mm: Array
    axis: Array
    diameter_mm: float
    u_diameter_mm: float
    depth_mm: float | None
    u_depth_mm: float
    floor_form_error_mm: float
    floor_share: float
    faces: IntArray


@dataclass(frozen=True, slots=True)
class Ball:
    """A ball, or the hollow of one.

    name : 'ball 1', 'socket 1', numbered by diameter, largest first
    kind : a ball's material lies inside, a socket's outside
    towards : (3,) unit, from the centre to the middle of what was seen
    diameter_mm : least-squares (orthogonal distance) diameter
    form_error_mm : of its slowest lobes, peak to valley of the radius
    seen_share : of the whole sphere, 0 to 1
    u_diameter_mm, u_position_mm : standard uncertainties; position is along the axis that is known worst
    """

    name: str
    kind: Literal["ball", "socket"]
    centre_mm: Array
    towards: Array
    diameter_mm: float
    form_error_mm: float
    seen_share: float
    rms_mm: float
    u_diameter_mm: float
    u_position_mm: float
    point_count: int
    faces: IntArray


@dataclass(frozen=True, slots=True)
class BoreRectangle:
    """Four equal bores at the corners of a rectangle.

    name : 'rectangle 1', numbered by its long pitch
    bores : their names in order round it, the first two along the long way
    centre_mm, axis : (3,) its middle, and the mean direction of the bores
    along : (3,) unit, the long way
    long_mm, short_mm : the two pitches, means of opposite sides
    off_mm : of the worst corner from its place
    """

    name: str
    bores: tuple[str, str, str, str]
    centre_mm: Array
    axis: Array
    along: Array
    long_mm: float
    short_mm: float
    u_long_mm: float
    u_short_mm: float
    off_mm: float


@dataclass(frozen=True, slots=True)
class Symmetry:
    """A plane that mirrors the bores, bosses and larger faces of a part onto each other.

    normal, point_mm : (3,) its direction and a point of it
    off_mm : how far the worst of them lies from the mirror image of its partner
    features : how many bores, bosses and faces were compared
    """

    name: str
    normal: Array
    point_mm: Array
    off_mm: float
    features: int


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
    slots: tuple[Slot, ...] = field(default=())
    cones: tuple[Cone, ...] = field(default=())
    counterbores: tuple[Counterbore, ...] = field(default=())
    rectangles: tuple[BoreRectangle, ...] = field(default=())
    symmetries: tuple[Symmetry, ...] = field(default=())
    balls: tuple[Ball, ...] = field(default=())
    surface: Surface | None = field(default=None, compare=False, repr=False)

    @property
    def bores(self) -> tuple[Cylinder, ...]:
        """The cylinders whose material lies outside."""
        return tuple(c for c in self.cylinders if c.kind == "bore")

    @property
    def bosses(self) -> tuple[Cylinder, ...]:
        """The cylinders whose material lies inside."""
        return tuple(c for c in self.cylinders if c.kind == "boss")
