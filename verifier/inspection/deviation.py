"""How the copy lies against a reference."""

from typing import Literal

from pydantic import Field

from verifier.inspection.table import Part, Row4


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
