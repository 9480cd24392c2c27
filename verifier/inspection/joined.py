"""How several scans became one."""

from pydantic import Field

from verifier.inspection.table import Part, Point


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


class DotsTable(Part):
    """Marker dots of one size that several of the scans show.

    shared : how many more than one scan shows; height_mm : nought where they are holes
    taken_off : how many were taken off the surface
    moulded : whether the sheet says that they are part, or they lie as regularly as if they were; none was then
    """

    shared: int
    diameter_mm: float
    height_mm: float
    taken_off: int
    moulded: bool


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
    dots: DotsTable | None = Field(default=None, description="null where no two scans show the same ones")
