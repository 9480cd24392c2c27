"""Inspections made by hand, one of every verdict, for the three renderers to be held against."""

from typing import Any

from verifier.inspection import (
    BoreTable,
    CoatTable,
    FeatureTable,
    Inspection,
    MendStepTable,
    MendTable,
    PrintTable,
    ScaleTable,
    ScanTable,
    SizeTable,
)


def size(name: str, kind: str = "overall", **changes: Any) -> SizeTable:
    told: dict[str, Any] = {
        "name": name,
        "kind": kind,
        "required": True,
        "reading_mm": 120.04,
        "nominal_mm": None,
        "tolerance_mm": (119.74, 120.34),
        "tolerance_source": "ISO 2768-m",
        "measured_mm": 120.612,
        "u_measured_mm": 0.008,
        "corrected_mm": 120.052,
        "deviation_mm": 0.012,
        "expanded_uncertainty_mm": 0.046,
        "coverage_factor": 2.0,
        "printed_mm": 120.06,
        "printed_expanded_uncertainty_mm": 0.11,
        "printed_verdict": "PASS",
        "smallest_error_mm": 0.09,
        "seen_share": 1.0,
        "set_size": 1,
        "features": ("extent 1",),
        "points_mm": ((-60.0, 0.0, 0.0), (60.0, 0.0, 0.0)),
        "verdict": "PASS",
        "reason": "",
    }
    return SizeTable(**{**told, **changes})


PIVOT = size(
    "pivot bore", "bore", reading_mm=12.02, tolerance_mm=(11.92, 12.12), measured_mm=11.93, corrected_mm=12.01,
    deviation_mm=-0.01, expanded_uncertainty_mm=0.03, printed_mm=12.0, features=("bore 1",),
    points_mm=((-46.0, 0.0, 6.0), (-34.0, 0.0, 6.0)),
)  # fmt: skip
PIN = size(
    "pin bore", "bore", reading_mm=6.0, tolerance_mm=(5.9, 6.1), measured_mm=5.85, corrected_mm=6.08,
    deviation_mm=0.08, expanded_uncertainty_mm=0.04, printed_mm=6.05, printed_verdict="UNDECIDED", features=("bore 2",),
    points_mm=((37.0, 0.0, 6.0), (43.0, 0.0, 6.0)), verdict="UNDECIDED", seen_share=0.7, smallest_error_mm=None,
    reason="its uncertainty reaches past 6.100 mm",
)  # fmt: skip
CENTRES = size(
    "pivot to pin", "centre distance", reading_mm=80.02, tolerance_mm=(79.87, 80.17), measured_mm=80.36,
    corrected_mm=80.31, deviation_mm=0.29, expanded_uncertainty_mm=0.03, printed_mm=80.31, printed_verdict="FAIL",
    features=("bore 1", "bore 2"), points_mm=((-40.0, 0.0, 6.0), (40.0, 0.0, 6.0)), verdict="FAIL",
    reason="0.140 mm over the greatest size allowed",
)  # fmt: skip
ANGLE = size(
    "nose angle", "angle", required=False, reading_mm=35.0, tolerance_mm=(34.0, 36.0), measured_mm=35.21,
    corrected_mm=35.21, deviation_mm=0.21, expanded_uncertainty_mm=0.3, printed_mm=35.21, set_size=2,
    points_mm=((50.0, 10.0, 0.0),),
)  # fmt: skip
TO_MEASURE = size(
    "wall thickness", "thickness", reading_mm=None, tolerance_mm=None, tolerance_source="", measured_mm=11.98,
    corrected_mm=None, deviation_mm=None, expanded_uncertainty_mm=None, coverage_factor=None, printed_mm=None,
    printed_expanded_uncertainty_mm=None, printed_verdict=None, smallest_error_mm=None, verdict="UNDECIDED",
    points_mm=((0.0, 10.0, -6.0), (0.0, 10.0, 6.0)), reason="no reading yet: measure it with the calliper",
)  # fmt: skip
NOT_FOUND = size(
    "rib height", "step", measured_mm=None, u_measured_mm=None, corrected_mm=None, deviation_mm=None,
    expanded_uncertainty_mm=None, coverage_factor=None, printed_mm=None, printed_expanded_uncertainty_mm=None,
    printed_verdict=None, smallest_error_mm=None, seen_share=None, features=(), points_mm=(), verdict="UNDECIDED",
    reason="no such step was found on the scan",
)  # fmt: skip


def inspection(**changes: Any) -> Inspection:
    told: dict[str, Any] = {
        "part": "latch_lever",
        "description": "Gate-latch lever of the lower paddock",
        "verdict": "PASS",
        "reasons": ("All 2 sizes asked for lie within their limits by more than their uncertainty.",),
        "next_steps": ("Slice latch_lever.3mf as it lies.", "Run a 4.2 mm drill through the pin bore."),
        "scan": ScanTable(
            name="latch_lever.stl", sha256="5f" * 32, size_bytes=20_640_384, format="STL", triangles=412_806, unit="mm",
            unit_factor_mm=1.0, unit_known_by="sizes", notices=("12 triangles without area were left out.",),
        ),
        "mend": MendTable(
            closed=True, volume_mm3=41_230.5, area_mm2=15_210.0, extents_mm=(120.6, 40.2, 12.1), triangles=410_122,
            filled_share=0.0123, bodies=1,
            steps=(
                MendStepTable(what="Removed debris", count=14, area_mm2=33.2, largest_mm=2.1),
                MendStepTable(what="Filled holes", count=3, area_mm2=187.0, largest_mm=11.4),
                MendStepTable(what="Turned faces the right way round", count=28, area_mm2=0.0, largest_mm=0.0),
            ),
        ),
        "features": (
            FeatureTable(
                name="bore 1", kind="bore", centre_mm=(-40.0, 0.0, 0.0), direction=(0.0, 0.0, 1.0), size_mm=11.93,
                u_size_mm=0.009, form_error_mm=0.04, pin_diameter_mm=11.88, arc_deg=360.0, depth_mm=12.1, through=True,
                rms_mm=0.02,
            ),
            FeatureTable(
                name="plane 1", kind="plane", centre_mm=(0.0, 0.0, -6.0), direction=(0.0, 0.0, -1.0), size_mm=None,
                u_size_mm=0.002, area_mm2=4600.0,
            ),
        ),
        "sizes": (size("overall length"), PIVOT),
        "scale": ScaleTable(
            factor=1.00412, standard_uncertainty=0.00018, applied=True, reason="It is 23 times its own uncertainty."
        ),
        "coat": CoatTable(
            thickness_mm=0.041, standard_uncertainty_mm=0.012, applied=False,
            reason="It stands in every corrected size.",
        ),
        "bores": (
            BoreTable(
                name="bore 1", row="pivot bore", diameter_mm=11.93, pin_diameter_mm=11.88, roundness_mm=0.04,
                arc_deg=360.0, depth_mm=12.1, through=True, note="Drill out to 12.0 mm after printing.",
            ),
            BoreTable(
                name="bore 2", row=None, diameter_mm=4.31, pin_diameter_mm=4.2, roundness_mm=0.12, arc_deg=287.0,
                depth_mm=9.4, through=False, note="An M5 screw forms its own thread here.",
            ),
        ),
        "print": PrintTable(
            filament="ASA natural", polymer="ASA", printer="bench printer", shrink_xy=0.005, shrink_z=0.004,
            u_shrink_xy=0.001, u_shrink_z=0.0015, shrink_source="six prints of the fence clip, spring",
            build_direction=(0.0, 0.0, 1.0), rests_on="plane 1", size_mm=(121.2, 40.4, 12.15), fits_bed=True,
            mass_g=44.1, filament_m=17.3, cost=1.54, currency="EUR", price_source="invoice of the last spool",
            notes=("Dry the filament for 4 hours at 80 °C.",), cautions=("Softens above 98 °C.",),
        ),
        "cautions": ("The pivot bore was seen over 70 % of its depth only.",),
        "sources": ("ISO 2768-1:1989, table 1", "JCGM 106:2012, 8.3.2"),
        "seconds": {"reading": 0.41, "mending": 2.2, "finding": 1.1},
        "versions": {"verifier": "0.1.0", "numpy": "2.3.1"},
    }  # fmt: skip
    return Inspection(**{**told, **changes})


PASSED = inspection()
FAILED = inspection(
    verdict="FAIL",
    reasons=("pivot to pin is 0.140 mm over the greatest size allowed.",),
    next_steps=("Measure pivot to pin again; if it is right, the scan is bent: scan it held in its middle.",),
    sizes=(size("overall length"), PIVOT, CENTRES, ANGLE),
)
UNDECIDED = inspection(
    verdict="UNDECIDED",
    reasons=("pin bore cannot be told from too large.", "rib height was not found."),
    next_steps=("Scan once more with the pin bore towards the camera.", "Or measure it with a pin gauge."),
    sizes=(size("overall length"), PIVOT, PIN, NOT_FOUND),
)
HELD = inspection(
    verdict="UNDECIDED",
    reasons=("This part has no sheet yet.",),
    next_steps=("Measure the sizes numbered in the picture and write them into latch_lever.toml.",),
    description="",
    sizes=(
        TO_MEASURE,
        TO_MEASURE.model_copy(
            update={"name": "overall length", "kind": "overall", "points_mm": ((-60.0, 0.0, 0.0), (60.0, 0.0, 0.0))}
        ),
    ),
    cautions=(),
)
BARE = inspection(
    verdict="UNDECIDED", reasons=("Nothing was found to measure.",), next_steps=(), sizes=(), bores=(), features=(),
    cautions=(), sources=(), description="",
)  # fmt: skip

EVERY = {"passed": PASSED, "failed": FAILED, "undecided": UNDECIDED, "held": HELD, "bare": BARE}

HOSTILE_NAME = "[red]x[/] <script>alert(1)</script> \x1b[2J\x07 two\nlines \u202egnp.stl"


def hostile() -> Inspection:
    """Every text that comes from outside tries to be more than text."""
    return inspection(
        part=HOSTILE_NAME,
        description=HOSTILE_NAME,
        reasons=(HOSTILE_NAME,),
        next_steps=(HOSTILE_NAME,),
        cautions=(HOSTILE_NAME, "</script><img src=x onerror=alert(2)>", "{{ 7 * 7 }} {% raw %}"),
        sizes=(
            size(HOSTILE_NAME, tolerance_source=HOSTILE_NAME, reason=HOSTILE_NAME),
            size("a" * 80),
            size("Türriegel 门闩"),
        ),
        scan=PASSED.scan.model_copy(update={"name": HOSTILE_NAME, "notices": (HOSTILE_NAME,)}),
    )


def told_texts(told: Inspection) -> list[str]:
    """Every sentence and name that each renderer must show whole."""
    return [
        told.verdict,
        told.part,
        *told.reasons,
        *told.next_steps,
        *told.cautions,
        *told.print.cautions,
        *told.print.notes,
        *told.scan.notices,
        *told.sources,
        told.scale.reason,
        told.coat.reason,
        *(step.what for step in told.mend.steps),
        *(bore.note for bore in told.bores),
        *(row.name for row in told.sizes),
        *(row.verdict for row in told.sizes),
        *(row.reason for row in told.sizes),
    ]
