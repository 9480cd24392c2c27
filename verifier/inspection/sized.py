"""The sizes of the sheet as measured, and the scale error and coat told apart by them."""

from pydantic import Field

from verifier.inspection.table import Part, Point, Verdict


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
    """Powder on one face; that inside lies on the wall of a bore or slot."""

    thickness_mm: float
    standard_uncertainty_mm: float
    inside_mm: float | None = Field(default=None, description="null in reports of earlier versions")
    standard_uncertainty_inside_mm: float | None = Field(
        default=None, description="null in reports of earlier versions"
    )
    applied: bool
    reason: str
    reason_inside: str = Field(default="", description="empty while both coats may be one")
