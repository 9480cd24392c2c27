"""What the shop has decided, apart from the sheets: filaments, screws, tolerances, callipers, printers, acceptance."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1)]


class Row(BaseModel):
    """A figure of the rules; none is taken without its source."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    source: str = Field(min_length=3)


class Filament(Row):
    """One filament.

    shrink_xy, shrink_z : ratio a length loses, in the layers and along the build direction (0.003 for 0.3 %)
    u_shrink_xy, u_shrink_z : their standard uncertainties
    """

    name: str
    polymer: str
    shrink_xy: Annotated[float, Field(ge=-0.02, lt=0.1)]
    shrink_z: Annotated[float, Field(ge=-0.02, lt=0.1)]
    u_shrink_xy: Positive
    u_shrink_z: Positive
    density_g_cm3: Positive
    price_per_kg: Positive
    currency: str
    diameter_mm: Positive = 1.75
    softens_c: float | None = None
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


class ClearanceHole(Row):
    """ISO 273."""

    screw: str
    fit: Literal["fine", "medium", "coarse"]
    hole_mm: Positive


class Thread(Row):
    """Coarse ISO metric thread."""

    screw: str
    nominal_mm: Positive
    pitch_mm: Positive
    tapping_drill_mm: Positive


class PilotHole(Row):
    """Hole for a thread-forming screw, as a share of the nominal diameter."""

    polymer: str
    hole_factor: Positive
    boss_factor: Positive
    engagement_factor: Positive


class InsertHole(Row):
    """Hole for a heat-set insert, finished size."""

    screw: str
    hole_mm: Positive


class Calliper(Row):
    """A calliper's error limits.

    limits_mm : pairs (up to this length, greatest permissible error)
    inside_extra_mm : added for inside and depth readings
    step_mm : step of the display or scale
    repeat_mm : standard deviation of repeated readings and jaw force on plastic
    jaw_flats_mm : width across the flats of the closed inside jaws
    """

    name: str
    limits_mm: tuple[tuple[float, float], ...]
    inside_extra_mm: float
    step_mm: Positive
    repeat_mm: Positive
    jaw_flats_mm: float = 0.0


class Printer(Row):
    """A printer: bed and what it does to holes."""

    name: str
    bed_x_mm: Positive
    bed_y_mm: Positive
    bed_z_mm: Positive
    hole_allowance_mm: float = 0.0
    u_hole_mm: float = 0.0


class Reading(Row):
    """Limits before any loader sees a byte."""

    max_file_bytes: int
    max_triangles: int
    max_unpacked_bytes: int
    max_unpack_ratio: float
    max_text_line_bytes: int
    max_instances: int
    max_coordinate_mm: float


class Decision(Row):
    """When a part passes.

    coverage_factor : k of the expanded uncertainty and of the guard band
    max_filled_share : share of invented surface a part may have and still pass
    min_arc_deg : turn a bore must have been seen over to be judged
    min_seen_share : share of other sizes' surface that must have been seen
    family_error : chance that a sound sheet has any reading called misread
    """

    coverage_factor: Positive
    max_filled_share: Share
    min_arc_deg: Annotated[float, Field(gt=0, le=360)]
    min_seen_share: Share
    family_error: Annotated[float, Field(gt=0, lt=0.5)]


class Expectation(Row):
    """What a scan is expected to be before it is compared with a sheet.

    u_scale : standard uncertainty of the scanner's scale
    coat_mm, u_coat_mm : powder thickness on one wall; coat_max_mm bounds it
    largest_part_mm, smallest_part_mm : plausible longest side, for files without a unit and without a sheet
    """

    u_scale: Positive
    coat_mm: float
    u_coat_mm: Positive
    coat_max_mm: Positive
    smallest_part_mm: Positive
    largest_part_mm: Positive


class Acceptance(BaseModel):
    """rules/acceptance.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    reading: Reading
    decision: Decision
    expectation: Expectation


@dataclass(frozen=True, slots=True)
class Rules:
    """Everything of the rules folder but the sheets; sheets are loaded one at a time, by part."""

    folder: Path
    filaments: tuple[Filament, ...]
    clearance_holes: tuple[ClearanceHole, ...]
    threads: tuple[Thread, ...]
    pilot_holes: tuple[PilotHole, ...]
    insert_holes: tuple[InsertHole, ...]
    callipers: tuple[Calliper, ...]
    printers: tuple[Printer, ...]
    acceptance: Acceptance
    default_filament: str
    default_printer: str
    default_calliper: str
