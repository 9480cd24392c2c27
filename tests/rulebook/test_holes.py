from dataclasses import replace

import pytest

from tests.rulebook.shop import one_row_sheet, shipped_rules
from verifier.errors import EXIT_USAGE, UnknownName
from verifier.rulebook import Hole, Sheet, SheetRow, filament_for, wanted_holes
from verifier.rulebook.holes import drill_for

RULES = shipped_rules()


def hole(filament: str = "PETG", **keys: object) -> Hole:
    sheet = one_row_sheet(SheetRow(name="screw", kind="bore", **keys))
    return wanted_holes(sheet, RULES, filament_for(sheet, RULES, filament))["screw"]


ISO_273 = [("M3", 3.2, 3.4, 3.6), ("M4", 4.3, 4.5, 4.8), ("M6", 6.4, 6.6, 7.0), ("M12", 13.0, 13.5, 14.5)]


@pytest.mark.parametrize(("screw", "fine_mm", "medium_mm", "coarse_mm"), ISO_273)
def test_a_screw_slides_in_the_hole_of_iso_273(screw, fine_mm, medium_mm, coarse_mm):
    """ISO 273:1979."""
    fits = {"fine": fine_mm, "medium": medium_mm, "coarse": coarse_mm}
    assert {fit: hole(use="slides", screw=screw, fit=fit).diameter_mm for fit in fits} == fits
    assert hole(use="slides", screw=screw).diameter_mm == medium_mm  # medium where nothing is said
    assert hole(use="slides", screw=screw).source.startswith("ISO 273")


def test_a_workshop_hole_says_that_nobody_stands_behind_it():
    found = hole(use="slides", screw="M3", fit="sliding")
    assert (found.diameter_mm, found.source) == (3.0, "common practice, no source")
    note = next(note for note in hole(use="threads", screw="M3").notes if "machine screw" in note)
    assert "2.6 to 2.7 mm (common practice, no source)" in note


@pytest.mark.parametrize(("polymer", "screw", "pilot_mm"), [("ABS", "M4", 3.20), ("ASA", "M5", 3.90)])
def test_a_screw_forms_its_thread_in_the_pilot_hole_of_the_polymer(polymer, screw, pilot_mm):
    """One screw maker's boss table: 0.80 d in ABS, 0.78 d in ASA."""
    found = hole(polymer, use="threads", screw=screw)
    assert found.diameter_mm == pytest.approx(pilot_mm)
    assert found.drill_mm == pytest.approx(pilot_mm)
    assert polymer in found.made_for


def test_the_same_bore_wants_another_pilot_hole_in_another_filament():
    assert hole("ABS", use="threads", screw="M4").diameter_mm != hole("PLA", use="threads", screw="M4").diameter_mm


@pytest.mark.parametrize(("screw", "hole_mm"), [("M3", 4.0), ("M4", 5.6), ("M5", 6.4)])
def test_an_insert_is_melted_into_the_finished_hole_of_its_chart(screw, hole_mm):
    assert hole(use="insert", screw=screw).diameter_mm == hole_mm


# ISO 286-1: H7 and p6 by the published tables, micrometres; the middle is what a print aims at.
@pytest.mark.parametrize(("pin_mm", "h7_um"), [(25.0, 21), (30.0, 21), (50.0, 25), (6.0, 12), (10.0, 15)])
def test_a_press_fit_aims_at_the_middle_of_its_class(pin_mm, h7_um):
    """The upper end of a range belongs to it: 30 is in 18 to 30, 50 in 30 to 50 (ISO 286-1)."""
    found = hole(use="press", nominal=pin_mm, tolerance="H7")
    assert found.diameter_mm == pytest.approx(pin_mm + h7_um / 2000.0, abs=1e-6)
    assert found.drill_mm == pin_mm
    assert f"Ream it to {pin_mm:.3f} to {pin_mm + h7_um / 1000:.3f} mm" in found.notes[0]


def test_a_bore_is_made_true_at_its_drawing_s_size_or_else_at_its_reading():
    assert hole(use="true", reading=9.97, gauged="pin").diameter_mm == 9.97
    assert hole(use="true", reading=9.97, nominal=10.0, gauged="pin").diameter_mm == 10.0


def test_a_reading_of_inside_jaws_is_corrected_for_their_flats_first():
    calliper = RULES.callipers[0].model_copy(update={"name": "worn", "jaw_flats_mm": 0.6})
    sheet = one_row_sheet(
        SheetRow(name="pin", kind="bore", use="true", reading=6.0, gauged="inside jaws"), calliper="worn"
    )
    found = wanted_holes(sheet, shop_with(calliper), RULES.filaments[0])["pin"]
    assert found.diameter_mm == pytest.approx((6.0**2 + 0.6**2) ** 0.5, abs=1e-6)  # chord and arc: D^2 = R^2 + f^2


def shop_with(calliper):
    return replace(RULES, callipers=(calliper,))


def test_a_filled_bore_is_drilled_for_its_screw_or_to_its_size():
    assert hole(use="drill", screw="M6", fit="fine").drill_mm == 6.4
    assert hole(use="drill", reading=4.22, gauged="pin").drill_mm == 4.2
    assert hole(use="drill").drill_mm is None


def test_bores_without_a_use_or_without_a_size_to_aim_at_are_left_out():
    rows = (
        SheetRow(name="plain", kind="bore", reading=6.0),
        SheetRow(name="kept", kind="bore", reading=6.0, use="keep"),
        SheetRow(name="unread", kind="bore", use="true"),
    )
    assert wanted_holes(Sheet(part="latch_lever", size=rows), RULES, RULES.filaments[0]) == {}


def test_a_polymer_nobody_has_a_pilot_hole_for_is_told_with_the_row():
    rubber = RULES.filaments[0].model_copy(update={"polymer": "rubber"})
    sheet = one_row_sheet(SheetRow(name="screw", kind="bore", use="threads", screw="M4"))
    with pytest.raises(UnknownName) as raised:
        wanted_holes(sheet, RULES, rubber)
    assert raised.value.where == "the sheet of latch_lever, row 'screw'"
    assert "no pilot hole for screws in rubber" in raised.value.what
    assert "[[pilot]]" in raised.value.do
    assert raised.value.exit_code == EXIT_USAGE


def test_drills_come_in_tenths():
    assert [drill_for(size) for size in (2.475, 3.3, 4.1249)] == [2.5, 3.3, 4.1]
