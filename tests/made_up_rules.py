"""Rules of a made-up shop, for the tests of every room: one calliper, one filament, one printer, and the usual limits.

A room changes what it is about and leaves the rest: `made_up_rules(decision={"family_error": 0.05})`.
"""

from pathlib import Path

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
    limits_mm=((100.0, 0.02), (200.0, 0.03), (1000.0, 0.05)),
    inside_extra_mm=0.02,
    step_mm=0.01,
    repeat_mm=0.01,
    source=SOURCE,
)
READING = Reading(
    max_file_bytes=2**31,
    max_triangles=20_000_000,
    max_unpacked_bytes=2**31,
    max_unpack_ratio=60,
    max_text_line_bytes=65_536,
    max_instances=1_000,
    max_coordinate_mm=10_000,
    source=SOURCE,
)
DECISION = Decision(
    coverage_factor=2.0, max_filled_share=0.05, min_arc_deg=300.0, min_seen_share=0.5, family_error=0.01, source=SOURCE
)
EXPECTATION = Expectation(
    u_scale=0.005,
    coat_mm=0.02,
    u_coat_mm=0.02,
    coat_max_mm=0.15,
    smallest_part_mm=10.0,
    largest_part_mm=600.0,
    source=SOURCE,
)


def made_up_rules(
    *,
    reading: dict[str, float] | None = None,
    decision: dict[str, float] | None = None,
    expectation: dict[str, float] | None = None,
    printer: Printer = PRINTER,
) -> Rules:
    """The shop's rules, with these figures of each table changed."""
    acceptance = Acceptance(
        reading=READING.model_copy(update=reading or {}),
        decision=DECISION.model_copy(update=decision or {}),
        expectation=EXPECTATION.model_copy(update=expectation or {}),
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
        default_filament=FILAMENT.name,
        default_printer=printer.name,
        default_calliper=CALLIPER.name,
    )
