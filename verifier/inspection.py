"""The outcome of one scan as the report says it. JSON, terminal and page are made from this and nothing else."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA = "verifier.inspection/1"
REFUSAL_SCHEMA = "verifier.refusal/1"

Verdict = Literal["PASS", "FAIL", "UNDECIDED"]
JobVerdict = Literal["PASS", "FAIL", "UNDECIDED", "REFUSED"]
Point = tuple[float, float, float]
Row4 = tuple[float, float, float, float]


class Part(BaseModel):
    """Base of all the report's tables: unknown keys are mistakes, values never change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


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


class SizeTable(Part):
    """One row of the sheet: millimetres, or degrees where kind is 'angle'."""

    name: str
    kind: str
    required: bool
    reading_mm: float | None
    nominal_mm: float | None
    tolerance_mm: tuple[float, float] | None = Field(description="least and greatest size allowed")
    tolerance_source: str
    one_sided: bool = Field(default=False, description="only the greatest is a limit: a deviation from a true shape")
    measured_mm: float | None
    u_measured_mm: float | None
    corrected_mm: float | None
    deviation_mm: float | None = Field(description="corrected size less the nominal, or less the reading without one")
    expanded_uncertainty_mm: float | None
    coverage_factor: float | None
    printed_mm: float | None
    printed_expanded_uncertainty_mm: float | None
    printed_verdict: Verdict | None
    printed_doubt: str = Field(default="", description="why the print is not proven: which way, how much, by what")
    reshaped_by_mm: float = Field(default=0.0, description="made so much larger on purpose; the limits move with it")
    smallest_error_mm: float | None = Field(description="smallest misreading this row would show; null when none would")
    seen_share: float | None
    set_size: int
    walls: float | None = Field(
        default=None, description="coated walls it crosses; null in reports of earlier versions"
    )
    remark: str = Field(default="", description="what to know of a measured value, such as how sure its place is")
    features: tuple[str, ...]
    points_mm: tuple[Point, ...] = Field(description="where the size was taken, on the scan as it is")
    verdict: Verdict
    reason: str


class ScaleTable(Part):
    """Scale of the scanner."""

    factor: float
    standard_uncertainty: float
    applied: bool
    reason: str


class CoatTable(Part):
    """Powder on one wall."""

    thickness_mm: float
    standard_uncertainty_mm: float
    applied: bool
    reason: str


class SeatTable(Part):
    """What a bore's mouth was given for the screw's head or nut; finished sizes.

    form : 'countersunk', 'counterbored' or 'hexagon'
    face : the flat face it opens on, '' where it is on none
    across_mm : diameter at the face, or across the flats of a hexagon; deep_mm : from there to where the bore begins
    left_mm : of the bore beneath it
    """

    form: str
    face: str
    across_mm: float
    deep_mm: float
    left_mm: float
    screw: str
    source: str


class BoreTable(Part):
    """A bore as a pin sees it, and what the print has of it.

    use : 'slides', 'threads', 'insert', 'press', 'true', 'drill', 'keep' as the sheet says; null for a bore on no row
    made_for : what the size is for, such as 'M4, medium fit'
    rebuilt : it was rebuilt or filled; false where it is as scanned
    """

    name: str
    row: str | None
    diameter_mm: float
    pin_diameter_mm: float
    roundness_mm: float
    arc_deg: float
    depth_mm: float
    through: bool
    note: str
    use: str | None = None
    screw: str | None = None
    made_for: str = ""
    rebuilt: bool = False
    upright: bool | None = Field(default=None, description="prints as round holes; null in reports of earlier versions")
    printed_diameter_mm: float | None = Field(default=None, description="expected on the print; null for a filled bore")
    printed_expanded_uncertainty_mm: float | None = None
    drill_mm: float | None = Field(default=None, description="drill or reamer that brings it to its size")
    caution: str = ""
    seat: SeatTable | None = Field(default=None, description="cut at one mouth; null where there is none")


class ReshapeTable(Part):
    """One thing the sheet wants done to the copy before it is printed.

    said : what was done; '' where it could not be, and why_not then completes 'that could not be done: …'
    before_mm, after_mm : the part's length, width and height; a cut part's pieces together keep them
    """

    do: str
    made: bool
    said: str
    why_not: str
    before_mm: Point
    after_mm: Point
    before_mm3: float
    after_mm3: float
    faces: int = Field(description="faces that are new, or not where the scanner saw them")


class PieceTable(Part):
    """One piece of a cut part, as it is printed."""

    name: str
    file: str
    size_mm: Point
    fits_bed: bool
    volume_mm3: float
    mass_g: float
    cost: float


class PrintCheckTable(Part):
    """One look at the mesh to print; place_mm from the corner of the print's box."""

    name: str
    fine: bool
    says: str
    value: float | None = None
    limit: float | None = None
    place_mm: Point | None = None


class PrintTable(Part):
    """The mesh to print."""

    filament: str
    polymer: str
    printer: str
    shrink_xy: float
    shrink_z: float
    u_shrink_xy: float
    u_shrink_z: float
    shrink_source: str
    hole_allowance_mm: float = Field(default=0.0, description="added to the diameter of rebuilt upright bores")
    build_direction: Point
    rests_on: str
    rests_why: str = Field(default="", description="why it rests there, a sentence")
    size_mm: Point
    fits_bed: bool
    pieces: int = Field(default=1, description="printed one by one; size_mm is then that of the whole")
    mass_g: float
    filament_m: float
    cost: float
    currency: str
    price_source: str
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    checks: tuple[PrintCheckTable, ...] = Field(default=(), description="what the printer may not make of the mesh")


class SpreadTable(Part):
    """Deviations over a region; least and greatest leave out the hundredth of its area beyond them."""

    name: str
    area_mm2: float
    mean_mm: float
    rms_mm: float
    least_mm: float
    greatest_mm: float


class SideTable(Part):
    """What lies outside the reference, or inside it, as lengths."""

    share: float = Field(description="of the compared surface, 0 to 1")
    mean_mm: float
    largest_mm: float = Field(description="99 % of that side stay under it")


class WithinTable(Part):
    """How much of the compared surface is off by no more than so much."""

    limit_mm: float
    share: float


class OtherPoseTable(Part):
    """Another way of laying the part on its reference that fits as well."""

    turn_deg: float
    harmless: bool = Field(description="the part is symmetric in this way, and no figure would change")
    pose: tuple[Row4, Row4, Row4, Row4]


class HistogramTable(Part):
    """Shares of the compared surface in equal steps from -limit_mm to +limit_mm; the ends hold what lies beyond."""

    limit_mm: float
    shares: tuple[float, ...]


class ChangeTable(Part):
    """One feature of the part against the same one of the reference: mm, degrees for a tilt.

    what : of a bore or boss its diameter, of two their centre distance, of a flat how much lower it lies or how far it
        is turned; or a bore that only one of the two has
    significant : more than chance explains, all features taken together
    """

    name: str
    what: Literal["diameter", "centre distance", "worn", "tilt", "gone", "new"]
    before: float | None
    after: float | None
    change: float
    standard_uncertainty: float
    significant: bool


class DeviationTable(Part):
    """The corrected mesh, its bores as scanned, against a reference; positive stands proud of it."""

    reference: str
    mirrored: bool = Field(description="compared with the mirror image of that file")
    pose: tuple[Row4, Row4, Row4, Row4] = Field(description="reference = pose applied to the corrected mesh")
    overlap: float = Field(description="share of the part that has the reference beneath it, 0 to 1")
    reference_overlap: float
    sure: bool
    reason: str = Field(description="why the pose is not sure; '' when it is")
    others: tuple[OtherPoseTable, ...] = ()
    whole: SpreadTable
    outside: SideTable
    inside: SideTable
    within: tuple[WithinTable, ...]
    regions: tuple[SpreadTable, ...]
    histogram: HistogramTable | None = None
    changes: tuple[ChangeTable, ...] = Field(default=(), description="the surest first")


class PosedScanTable(Part):
    """One of several scans of the part, and where it went.

    pose : rows of the 4 x 4 matrix that takes its points into the joined part; its upper left holds the scale too
    """

    name: str
    pose: tuple[tuple[float, float, float, float], ...]
    scale: float
    kept_mm2: float
    skirt_mm2: float
    debris_mm2: float


class JoinWayTable(Part):
    """One way of putting the scans together.

    number : what `join` in the sheet chooses it by
    misfit : of the rim, in units of its own doubt; only differences count
    outlines_mm : the scans' rims in plan, to be drawn
    """

    number: int
    taken: bool
    misfit: float
    rms_mm: float
    tilt_deg: float | None
    thickness_mm: float | None
    differs: str
    outlines_mm: tuple[tuple[tuple[float, float], ...], ...] = ()


class JoinRegionTable(Part):
    """How far two scans lie apart in one region of their overlap."""

    where: str
    middle_mm: Point
    rms_mm: float
    pieces: int


class JoinLinkTable(Part):
    """Two of several views that were laid on each other.

    used : false for a pose that did not close the loop with the others; off_mm : how far it was off
    """

    first: str
    second: str
    overlap_share: float
    rms_mm: float
    used: bool
    off_mm: float


class SeamSpreadTable(Part):
    """Half of the seam has no more than middle_mm, 95 % no more than p95_mm; the largest, and where."""

    middle_mm: float
    p95_mm: float
    largest_mm: float
    at_mm: Point | None = None


class SeamTable(Part):
    """Where the scans were joined to one surface.

    step : how far apart they lay across the surface before that
    gap : how wide the seam was where neither had seen the surface; 0 where both had
    """

    length_mm: float
    step: SeamSpreadTable
    gap: SeamSpreadTable


class JoinTable(Part):
    """How several scans were made one."""

    method: str
    sure: bool
    why: str
    do: str
    overlap_share: float = Field(
        description="share of the rim, or of several views' surface, that more than one scan saw"
    )
    calliper_mm: float | None = Field(default=None, description="reading of the sheet that set the gap")
    scans: tuple[PosedScanTable, ...]
    ways: tuple[JoinWayTable, ...]
    regions: tuple[JoinRegionTable, ...] = ()
    links: tuple[JoinLinkTable, ...] = ()
    seam: SeamTable | None = Field(default=None, description="null where the scans meet nowhere")


class Inspection(Part):
    """The JSON report of one scan."""

    schema_: Literal["verifier.inspection/1"] = Field(default="verifier.inspection/1", alias="schema")
    part: str
    description: str
    of_print: bool = Field(default=False, description="a print was scanned; 'print' then says nothing")
    verdict: Verdict
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...] = Field(description="what the person does now, first thing first")
    scan: ScanTable
    join: JoinTable | None = Field(default=None, description="of several scans; null for one")
    mend: MendTable
    features: tuple[FeatureTable, ...]
    sizes: tuple[SizeTable, ...]
    scale: ScaleTable
    coat: CoatTable
    bores: tuple[BoreTable, ...]
    print: PrintTable
    reshaped: tuple[ReshapeTable, ...] = ()
    pieces: tuple[PieceTable, ...] = Field(default=(), description="of a part that is cut; each is a mesh of its own")
    deviation: DeviationTable | None = Field(default=None, description="null when nothing was there to compare with")
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = Field(default=(), description="whose figures the report rests on")
    seconds: dict[str, float]
    versions: dict[str, str]

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)
