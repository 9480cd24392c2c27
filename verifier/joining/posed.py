"""The values of the joining room: a scan put in its place, the ways there were of placing it, and the report of it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.joining.dots.dot import NO_DOTS, Dots
from verifier.mesh import Array, BoolArray, Mesh
from verifier.reading.scan import Scan

Point = tuple[float, float, float]

# The source of a face that is no scan's own: made or moved where two scans meet.
SEAM = -1


def scale_of(pose: Array) -> float:
    """What a (4, 4) pose multiplies lengths by."""
    return float(np.cbrt(np.linalg.det(pose[:3, :3])))


@dataclass(frozen=True, slots=True)
class Posed:
    """One scan in the joined part's frame, which is that of the first scan.

    pose : (4, 4); a point p of the scan lies at pose[:3, :3] @ p + pose[:3, 3]. The upper left is a rotation times the
        scan's scale against the first one's, 1 where no difference of scale could be told.
    keep_faces : (m,) bool, the faces that are part; False for skirt, debris and remains of the support
    """

    scan: Scan
    pose: Array
    keep_faces: BoolArray

    @property
    def scale(self) -> float:
        """What the scan's lengths are multiplied by."""
        return scale_of(self.pose)


@dataclass(frozen=True, slots=True)
class Link:
    """Two scans that were laid on each other, and whether the pose found for them was used.

    first, second : numbers of the scans, the smaller first
    overlap_share : of the smaller scan's surface, seen by the other as well
    rms_mm : across the surface where both saw it, in the pose that was taken
    used : False for a pose that does not close the loop with the others
    off_mm : how far the pose found for these two alone misses the one taken
    """

    first: int
    second: int
    overlap_share: float
    rms_mm: float
    used: bool
    off_mm: float


@dataclass(frozen=True, slots=True)
class Residual:
    """How far two scans lie apart in one region of their overlap, seen along the surface.

    where : 'rim, 1 of 8', 'latch_lever.1.ply on latch_lever.3.ply', …
    middle_mm : in the joined part's frame
    rms_mm : of the distances across the surface
    """

    where: str
    middle_mm: Point
    rms_mm: float
    points: int


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way of putting the scans together.

    poses : one (4, 4) a scan, the first the identity
    score : misfit of the overlap in units of its own doubt; less is better, and differences are what count
    rms_mm : of the overlap
    tilt_deg : between the two sides' mean planes, None for views that are not two sides
    thickness_mm : greatest thickness of the part it gives, None where that has no meaning
    differs : what tells it from the best one, a sentence; empty for the best
    outlines_mm : (k, 2) rims of the scans seen along the part's shortest axis, to be drawn; one a scan, or none for
        views of a small part, whose poses draw them
    """

    poses: tuple[Array, ...]
    score: float
    rms_mm: float
    tilt_deg: float | None
    thickness_mm: float | None
    differs: str = ""
    outlines_mm: tuple[Array, ...] = ()

    def scale_of(self, k: int) -> float:
        """What the lengths of a scan are multiplied by."""
        return scale_of(self.poses[k])


@dataclass(frozen=True, slots=True)
class Trimmed:
    """What of one scan was left out.

    skirt_mm2, debris_mm2 : areas
    """

    scan: str
    kept_mm2: float
    skirt_mm2: float
    debris_mm2: float


@dataclass(frozen=True, slots=True)
class DotsTold:
    """Marker dots of one size that several scans show.

    shared : how many more than one scan shows
    height_mm : above the surface, nought where they are holes
    taken_off : how many were taken off the surface, those of one scan alone among them
    moulded : whether the sheet says that they are part, or they lie as regularly as if they were, so that none was
    """

    shared: int
    diameter_mm: float
    height_mm: float
    taken_off: int
    moulded: bool = False


@dataclass(frozen=True, slots=True)
class Placing:
    """Where every scan goes, before they are made one: two sides of a large part, or up to twelve views of a small one.

    method : 'rim laid on rim', 'views laid on each other'
    alternatives : the ways of putting them together, best first; at least one
    chosen : number of the one taken, 0 the best
    sure : whether nothing speaks for another
    why : why it is sure or not, a sentence
    keep_faces : for every scan (m,) bool
    overlap_share : surface seen by more than one scan against all of it
    links : the pairs of views that hold the poses together; none for two sides
    """

    method: str
    alternatives: tuple[Alternative, ...]
    chosen: int
    sure: bool
    why: str
    do: str
    keep_faces: tuple[BoolArray, ...]
    overlap_share: float
    residuals: tuple[Residual, ...]
    trimmed: tuple[Trimmed, ...]
    calliper_mm: float | None = None
    links: tuple[Link, ...] = ()

    @property
    def taken(self) -> Alternative:
        """The alternative that was taken."""
        return self.alternatives[self.chosen]


@dataclass(frozen=True, slots=True)
class Spread:
    """Half of the places have no more than middle_mm, 95 of 100 no more than p95_mm; the largest is at at_mm."""

    middle_mm: float
    p95_mm: float
    largest_mm: float
    at_mm: Point | None


@dataclass(frozen=True, slots=True)
class Seam:
    """Where scans were joined.

    step : how far apart the scans lay across the surface, before they were brought together
    gap : how wide the seam was where neither saw the surface; nought where both did
    """

    length_mm: float
    step: Spread
    gap: Spread


@dataclass(frozen=True, slots=True)
class JoinReport:
    """What is told of a join.

    placing : poses, alternatives, trimmed surface
    seam : between the scans; None where they meet nowhere
    seam_at_mm : (k, 3) middles of the faces that were made or moved at the seam, to show where it runs
    scans_kept : the scans as posed, to draw the other ways by; none where there is one way only
    posed : the scans as posed, should their seam not be closed
    dots : None where no two scans show the same ones
    dots_at : those in whose place smooth surface was made, in the joined part's frame
    """

    scans: tuple[str, ...]
    placing: Placing
    seam: Seam | None = None
    seam_at_mm: Array | None = None
    scans_kept: tuple[Posed, ...] = ()
    posed: tuple[Posed, ...] = ()
    dots: DotsTold | None = None
    dots_at: Dots = NO_DOTS


@dataclass(frozen=True, slots=True)
class Joined:
    """Several scans made into one.

    scan : goes on as any other
    source_of_face : (m,) int16, the scan every face came from; SEAM for what was made at the seam
    """

    scan: Scan
    source_of_face: NDArray[np.int16]
    report: JoinReport


@dataclass(frozen=True, slots=True)
class Fused:
    """One mesh of several posed scans.

    mesh : in the joined part's frame
    source_of_face : (m,) int16, the scan every face came from; SEAM for what was made or moved at a seam
    seam : None where there is none
    """

    mesh: Mesh
    source_of_face: NDArray[np.int16]
    seam: Seam | None = None
