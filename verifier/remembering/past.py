"""The past of a shop and of one part, as terminal and page show it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.learning.figures import Figures
from verifier.learning.kept_print import KeptPrint
from verifier.remembering.changes import Change, Seen, changes
from verifier.remembering.scanner import ScannerPast


@dataclass(frozen=True, slots=True)
class ScanPast:
    """One measured scan. percent : how much too large it came out; coat_mm : powder on one wall."""

    job: int
    day: str
    verdict: str
    percent: float
    u_percent: float
    coat_mm: float
    u_coat_mm: float
    filament: str
    shrink_xy_percent: float
    cost: float
    currency: str


@dataclass(frozen=True, slots=True)
class SizePoint:
    """One row in one scan: the size with scale and coat taken out, and its expanded uncertainty."""

    job: int
    day: str
    value: float
    expanded_u: float
    coverage_factor: float


@dataclass(frozen=True, slots=True)
class SizePast:
    """One row over all scans. wanted, least, greatest : as of the newest scan; degrees for an angle."""

    name: str
    kind: str
    wanted: float | None
    least: float | None
    greatest: float | None
    points: tuple[SizePoint, ...]


@dataclass(frozen=True, slots=True)
class PartPast:
    """One part.

    scans, prints : oldest first
    page, picture : where its newest report and its first picture lie, '' when they are gone
    changed : between the last two scans, empty where there are not two
    """

    name: str
    description: str
    scans: tuple[ScanPast, ...]
    sizes: tuple[SizePast, ...]
    prints: tuple[KeptPrint, ...]
    changed: tuple[Change, ...]
    page: str
    picture: str

    @property
    def last(self) -> ScanPast:
        """The newest scan."""
        return self.scans[-1]


@dataclass(frozen=True, slots=True)
class ShopPast:
    """Everything.

    root : the bench's folder
    notices : filament on printer -> what does not fit there, sentences
    """

    root: str
    parts: tuple[PartPast, ...]
    scanner: ScannerPast
    figures: tuple[Figures, ...]
    notices: Mapping[str, tuple[str, ...]]


def last_changes(sizes: Sequence[SizePast], jobs: Sequence[int]) -> tuple[Change, ...]:
    """What changed between the last two of these scans."""
    if len(jobs) < 2:
        return ()
    before, after = (tuple(seen for size in sizes if (seen := _seen(size, job))) for job in jobs[-2:])
    return changes(before, after)


def _seen(size: SizePast, job: int) -> Seen | None:
    point = next((point for point in size.points if point.job == job), None)
    return None if point is None else Seen(size.name, size.kind, point.value, point.expanded_u / point.coverage_factor)
