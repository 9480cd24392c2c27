"""What was made of the copy, and how it prints."""

from pydantic import Field

from verifier.inspection.table import Part, Point


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
