"""What the shop has decided, apart from the sheets: filaments, screws, tolerances, callipers, printers, acceptance."""

import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from verifier.rulebook.row import Finite, Fit, Positive, Row, Share, plain_mistake
from verifier.rulebook.seat_row import SeatSize
from verifier.rulebook.tolerance_tables import Tolerances

NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Count = Annotated[int, Field(gt=0)]


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
    softens_c: Finite | None = None
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    @property
    def takes_up_water(self) -> bool:
        """A nylon: a print measured dry grows by 0.5 to 0.7 % in the room (Polymers 2021, 13, 3637)."""
        return re.match(r"PA\d", self.polymer) is not None


class ClearanceHole(Row):
    """Through hole of a screw: ISO 273 fine, medium, coarse; 'sliding' is workshop practice, drilled."""

    screw: str
    fit: Fit
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


class SelfCutHole(Row):
    """Hole a machine screw cuts its own thread in, in plastic; the smaller end holds better and turns harder."""

    screw: str
    least_mm: Positive
    greatest_mm: Positive


class InsertHole(Row):
    """Hole for a heat-set insert, finished size."""

    screw: str
    hole_mm: Positive


class Calliper(Row):
    """A calliper's error limits.

    limits_mm : pairs (up to this length, greatest permissible error), the shortest length first
    inside_extra_mm : added for inside and depth readings
    step_mm : step of the display or scale
    repeat_mm : standard deviation of repeated readings and jaw force on plastic
    jaw_flats_mm : width across the flats of the closed inside jaws; 0 while nobody has measured it
    """

    name: str
    limits_mm: Annotated[tuple[tuple[Positive, Positive], ...], Field(min_length=1)]
    inside_extra_mm: NotNegative
    step_mm: Positive
    repeat_mm: Positive
    jaw_flats_mm: NotNegative = 0.0

    @property
    def longest_mm(self) -> float:
        """The longest reading it has an error limit for."""
        return self.limits_mm[-1][0]

    @model_validator(mode="after")
    def _limits_in_order(self) -> Self:
        if any(shorter >= longer for (shorter, _), (longer, _) in pairwise(self.limits_mm)):
            raise plain_mistake("limits_mm is not in the order of the lengths", "Put the shortest length first")
        return self


class Printer(Row):
    """A printer: bed, and what it does to holes, walls and edges.

    hole_allowance_mm : what an upright hole's diameter loses, added to it before; u_hole_mm : how sure that is
    facet_loss_mm : how much smaller across its flats than across its corners a hole's polygon may be
    wall_proud_mm : how far every upright outside wall stands out; u_wall_mm : how sure that is
    size_scatter_mm : standard deviation of single sizes of one print, from seams, corners and layers
    nozzle_mm, line_mm, layer_mm : the nozzle, the strand it lays and the height of a layer
    least_wall_mm, least_feature_mm : thinner walls and lower or narrower details do not come out
    first_layer_spread_mm : how far the first layer runs out on each side
    steepest_deg : a face that leans out further than this from upright wants a support
    joint_clearance_mm : how much wider than what goes in a joint's socket is made, on the width
    """

    name: str
    bed_x_mm: Positive
    bed_y_mm: Positive
    bed_z_mm: Positive
    hole_allowance_mm: Finite = 0.0
    u_hole_mm: NotNegative = 0.0
    facet_loss_mm: Annotated[float, Field(ge=0.001, le=0.5)] = 0.01
    wall_proud_mm: Finite = 0.0
    u_wall_mm: NotNegative = 0.0
    size_scatter_mm: NotNegative = 0.02
    nozzle_mm: Positive = 0.4
    line_mm: Positive = 0.45
    layer_mm: Positive = 0.2
    least_wall_mm: Positive = 0.9
    least_feature_mm: Positive = 0.45
    first_layer_spread_mm: NotNegative = 0.15
    steepest_deg: Annotated[float, Field(gt=0, lt=90)] = 45.0
    joint_clearance_mm: NotNegative = 0.2


class Reading(Row):
    """Limits before any loader sees a byte."""

    max_file_bytes: Count
    max_triangles: Count
    max_unpacked_bytes: Count
    max_unpack_ratio: Positive
    max_text_line_bytes: Count
    max_instances: Count
    max_coordinate_mm: Positive


class Decision(Row):
    """When a part passes.

    coverage_factor : k of the expanded uncertainty and of the guard band
    max_filled_share : share of invented surface a part may have and still pass
    max_filled_width_mm : width of a single invented place that may still pass
    min_arc_deg : turn a bore must have been seen over to be judged
    min_seen_share : share of other sizes' surface that must have been seen
    family_error : chance that a sound sheet has any reading called misread
    """

    coverage_factor: Positive
    max_filled_share: Share
    max_filled_width_mm: Positive = 6.0
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
    coat_mm: NotNegative
    u_coat_mm: Positive
    coat_max_mm: Positive
    smallest_part_mm: Positive
    largest_part_mm: Positive


class Caution(Row):
    """A hazard the report warns of.

    polymers : the filaments' polymers it concerns; empty for every part
    """

    about: Literal["powder", "printing", "ventilation", "drilling", "load", "heat", "fire", "food", "rights"]
    text: str = Field(min_length=3)
    polymers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class OwnFigure:
    """One figure of one filament on one printer, from finished prints.

    figure : 'shrink_xy' or 'shrink_z', ratios; 'hole_mm', what an upright hole's diameter loses; 'proud_mm', how far
        every upright outside wall stands out
    u : standard uncertainty for the next print
    """

    filament: str
    printer: str
    figure: str
    value: float
    u: float
    source: str


class Acceptance(BaseModel):
    """rules/acceptance.toml."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    reading: Reading
    decision: Decision
    expectation: Expectation


@dataclass(frozen=True, slots=True)
class Rules:
    """Everything of the rules folder but the sheets; sheets are loaded one at a time, by part.

    filaments : their cautions include those of rules/cautions.toml that name their polymer
    tolerances : None for those that come with the verifier
    own_figures : from the shop's finished prints, each surer than the table's
    """

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
    self_cut_holes: tuple[SelfCutHole, ...] = ()
    seat_sizes: tuple[SeatSize, ...] = ()
    tolerances: Tolerances | None = None
    cautions: tuple[Caution, ...] = ()
    own_figures: tuple[OwnFigure, ...] = ()

    @property
    def part_cautions(self) -> tuple[Caution, ...]:
        """The cautions that hold for every part, whatever it is printed from."""
        return tuple(caution for caution in self.cautions if not caution.polymers)
