"""A bore as the terminal and the page say it."""

import pytest

from verifier.inspection import BoreTable
from verifier.reporting.words import bore_in_words, bore_line

SCANNED = BoreTable(
    name="bore 1",
    row="screw",
    diameter_mm=4.16,
    pin_diameter_mm=4.12,
    roundness_mm=0.05,
    arc_deg=352.0,
    depth_mm=9.0,
    through=True,
    note="Open at both ends.",
)
SEEN = "Ø 4.16 mm, a pin of 4.12 mm goes in, 0.05 mm out of round, 9.0 mm deep (through), seen over 352°"
PRINTED = {"printed_diameter_mm": 4.3, "printed_expanded_uncertainty_mm": 0.12}

SAID = [
    ({}, ""),
    (
        {"use": "slides", "screw": "M4", "made_for": "M4, fine fit", "rebuilt": True, "drill_mm": 4.3, **PRINTED},
        "; rebuilt for M4, fine fit: 4.30 ± 0.12 mm on the print, 4.3 mm drill",
    ),
    ({"use": "keep", "drill_mm": 4.5, **PRINTED}, "; kept as scanned: 4.30 ± 0.12 mm on the print, 4.5 mm drill"),
    ({"use": "keep", "printed_diameter_mm": 4.3}, "; kept as scanned: 4.30 mm on the print"),
    (
        {"use": "drill", "made_for": "its reading of 4.2 mm", "rebuilt": True, "drill_mm": 4.2},
        "; filled, to be drilled for its reading of 4.2 mm: 4.2 mm drill",
    ),
    (
        {"use": "drill", "made_for": "the size you choose", "rebuilt": True},
        "; filled, to be drilled for the size you choose",
    ),
]


@pytest.mark.parametrize(("more", "said"), SAID)
def test_a_bore_says_how_it_scanned_and_what_the_print_has_of_it(more, said):
    assert bore_in_words(SCANNED.model_copy(update=more)) == SEEN + said


def test_a_bore_to_be_drilled_says_what_to_beware_of():
    assert bore_line(SCANNED) == f"screw: {SEEN}. Open at both ends."
    careful = SCANNED.model_copy(update={"caution": "Clamp it."})
    assert bore_line(careful) == f"screw: {SEEN}. Open at both ends. Clamp it."


def test_a_report_written_before_bores_were_rebuilt_still_reads():
    """The keys about use, print and drill are new; a report without them is as valid as before."""
    old = {name: getattr(SCANNED, name) for name in ("name", "row", "diameter_mm", "pin_diameter_mm", "roundness_mm",
                                                     "arc_deg", "depth_mm", "through", "note")}  # fmt: skip
    read = BoreTable.model_validate(old)
    assert (read.use, read.rebuilt, read.printed_diameter_mm, read.drill_mm, read.caution) == (
        None,
        False,
        None,
        None,
        "",
    )
