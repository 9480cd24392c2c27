"""What came from the file, what was mended, and what was found."""

from typing import Literal

from pydantic import Field

from verifier.inspection.table import Part, Point


class ScanTable(Part):
    """The file the scan came from."""

    name: str
    sha256: str
    size_bytes: int
    format: str
    triangles: int
    unit: str
    unit_factor_mm: float
    unit_known_by: Literal["file", "sheet", "sizes", "guess"]
    notices: tuple[str, ...] = ()


class MendStepTable(Part):
    """One kind of mending."""

    what: str
    count: int
    area_mm2: float
    largest_mm: float
    places_mm: tuple[Point, ...] = Field(default=(), description="middles of the widest ones, at most twenty")
    sizes_mm: tuple[float, ...] = Field(default=(), description="size across of each of those")


class UnseenTable(Part):
    """A stretch of surface that was filled without having been seen."""

    at_mm: Point = Field(description="its middle, in the export's own axes")
    length_mm: float
    width_mm: float
    area_mm2: float
    seen_from: Point = Field(description="unit vector towards where the scanner would see it square on")


class MendTable(Part):
    """What was mended and what came out, before any correction."""

    closed: bool
    volume_mm3: float
    area_mm2: float
    extents_mm: Point
    triangles: int
    filled_share: float
    bodies: int
    steps: tuple[MendStepTable, ...] = ()
    unseen: tuple[UnseenTable, ...] = Field(default=(), description="filled places over 1 mm wide, the widest first")
    size_changes: tuple[str, ...] = Field(default=(), description="where mending altered the overall size, and why")
    volume_changes: tuple[str, ...] = Field(default=(), description="where mending filled or took away volume, and why")


class FeatureTable(Part):
    """A plane, bore, cone, slot or other thing, or an overall size, that was found, on the scan as it is."""

    name: str
    kind: Literal[
        "plane",
        "bore",
        "boss",
        "slot",
        "extent",
        "countersink",
        "inner cone",
        "outer cone",
        "counterbore",
        "rectangle",
        "symmetry plane",
        "ball",
        "socket",
    ]
    centre_mm: Point
    direction: Point
    size_mm: float | None = Field(
        description="diameter (of a countersink at its face), width of a slot, length of an extent, short pitch of a "
        "rectangle of bores; null for a plane"
    )
    u_size_mm: float = Field(description="of a plane's place, where there is no size")
    length_mm: float | None = Field(default=None, description="of a slot, end to end; long pitch of a rectangle")
    u_length_mm: float | None = None
    form_error_mm: float | None = Field(
        default=None, description="of a rectangle or a symmetry plane how far its worst bore or face is off its place"
    )
    bores: tuple[str, ...] | None = Field(default=None, description="of a rectangle, going round it")
    angle_deg: float | None = Field(default=None, description="of a cone, between opposite sides")
    u_angle_deg: float | None = None
    bore: str | None = Field(default=None, description="what a countersink or counterbore widens")
    face: str | None = Field(default=None, description="flat face it opens on; its size and depth are taken there")
    off_axis_mm: float | None = Field(default=None, description="of a countersink's axis from its bore's")
    u_depth_mm: float | None = None
    pin_diameter_mm: float | None = None
    arc_deg: float | None = None
    seen_share: float | None = Field(default=None, description="of a ball's or socket's whole sphere, 0 to 1")
    depth_mm: float | None = None
    area_mm2: float | None = None
    through: bool | None = None
    rms_mm: float | None = None
    axis_held: str | None = None
