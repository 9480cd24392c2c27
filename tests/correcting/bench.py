"""A shop's rules and made-up scans of known scale and coat, for the tests of this room and of judging."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from verifier.measuring.size import Size
from verifier.rulebook import reading_of
from verifier.rulebook.rules import (
    Acceptance,
    Calliper,
    Decision,
    Expectation,
    Filament,
    Printer,
    Reading,
    Rules,
)
from verifier.rulebook.sheet import Sheet, SheetRow

SOURCE = "made up for the tests"

FILAMENT = Filament(
    name="plain",
    polymer="PLA",
    shrink_xy=0.006,
    shrink_z=0.002,
    u_shrink_xy=0.001,
    u_shrink_z=0.0005,
    density_g_cm3=1.24,
    price_per_kg=25.0,
    currency="EUR",
    notes=("Keep it dry.",),
    cautions=("It softens in a hot car.",),
    source=SOURCE,
)

PRINTER = Printer(name="bench printer", bed_x_mm=220, bed_y_mm=220, bed_z_mm=250, source=SOURCE)

# DIN 862, digital: 0.02 to 100 mm; u = 0.0156 with the step and the repeat.
CALLIPER = Calliper(
    name="digital",
    limits_mm=((100.0, 0.02), (200.0, 0.03), (500.0, 0.03)),
    inside_extra_mm=0.02,
    step_mm=0.01,
    repeat_mm=0.01,
    source=SOURCE,
)
SCAN_U_MM = 0.015


def shop(printer: Printer = PRINTER, **decision: float) -> Rules:
    limits = {
        "coverage_factor": 2.0,
        "max_filled_share": 0.05,
        "min_arc_deg": 300.0,
        "min_seen_share": 0.5,
        "family_error": 0.01,
    }
    acceptance = Acceptance(
        reading=Reading(
            max_file_bytes=2**31,
            max_triangles=20_000_000,
            max_unpacked_bytes=2**31,
            max_unpack_ratio=60,
            max_text_line_bytes=65536,
            max_instances=1000,
            max_coordinate_mm=10_000,
            source=SOURCE,
        ),
        decision=Decision(**(limits | decision), source=SOURCE),
        expectation=Expectation(
            u_scale=0.005,
            coat_mm=0.02,
            u_coat_mm=0.02,
            coat_max_mm=0.15,
            smallest_part_mm=10,
            largest_part_mm=600,
            source=SOURCE,
        ),
    )
    return Rules(
        folder=Path("rules"),
        filaments=(FILAMENT,),
        clearance_holes=(),
        threads=(),
        pilot_holes=(),
        insert_holes=(),
        callipers=(CALLIPER,),
        printers=(printer,),
        acceptance=acceptance,
        default_filament="plain",
        default_printer="bench printer",
        default_calliper="digital",
    )


@dataclass(frozen=True)
class Row:
    """One size of a made-up part; walls as in Size."""

    name: str
    kind: str
    true_mm: float
    walls: int


LEVER = (
    Row("overall", "overall", 82.0, 2),
    Row("between pivots", "centre distance", 54.0, 0),
    Row("thickness", "thickness", 8.0, 2),
    Row("pivot", "bore", 10.0, -2),
    Row("pin", "bore", 6.0, -2),
    Row("width", "overall", 28.0, 2),
    Row("hub", "boss", 20.0, 2),
    Row("pin to edge", "edge distance", 12.0, 1),
)


def sheet_for(
    part: Sequence[Row], readings: Sequence[float | None] | None = None, tolerance: float | None = 0.15, **more: object
) -> Sheet:
    given = [row.true_mm for row in part] if readings is None else readings
    return Sheet(
        part="latch_lever",
        size=tuple(
            SheetRow(
                name=row.name,
                kind=row.kind,
                reading=reading,
                tolerance=tolerance,
                between=("pivot", "pin") if row.kind == "centre distance" else None,
                of="pin" if row.kind == "edge distance" else None,
                gauged="pin" if row.kind == "bore" else None,
            )
            for row, reading in zip(part, given, strict=True)
        ),
        **more,
    )


def scanned(part: Sequence[Row], scale: float = 1.0, coat_mm: float = 0.0, errors: object = 0.0) -> tuple[Size, ...]:
    """What a scan of this scale and coat would measure, with the given error on each size."""
    each = np.broadcast_to(np.asarray(errors, dtype=float), len(part))
    return tuple(
        Size(
            name=row.name,
            measured_mm=float(scale * row.true_mm + row.walls * coat_mm + error),
            u_mm=SCAN_U_MM,
            walls=row.walls,
            features=(),
            points_mm=np.array([[0.0, 0.0, 0.0], [row.true_mm, 0.0, 0.0]]),
        )
        for row, error in zip(part, each, strict=True)
    )


def reading_u_mm(part: Sequence[Row]) -> np.ndarray:
    """Standard uncertainty of the reading of each size of a part, as the rulebook states it."""
    sheet, rules = sheet_for(part), shop()
    return np.array([reading_of(row, sheet, rules).u for row in sheet.rows])
