from math import hypot, sqrt

import pytest
from hypothesis import given
from hypothesis.strategies import floats

from tests.rulebook.shop import LAW, one_row_sheet, shipped_rules
from verifier.errors import RuleMistake, UnknownName
from verifier.rulebook import Calliper, CalliperReading, SheetRow, reading_of
from verifier.rulebook.calliper import bore_across_flats_mm, error_limit_mm, gauge_of

RULES = shipped_rules()
CALLIPERS = {calliper.name: calliper for calliper in RULES.callipers}


def read(reading_mm: float | None, kind: str = "thickness", calliper: str = "digital 0.01", **more: object):
    row = SheetRow(name="body", kind=kind, reading=reading_mm, **more)
    return reading_of(row, one_row_sheet(row, calliper=calliper), RULES)


def rules_with_flats(flats_mm: float):
    calliper = CALLIPERS["digital 0.01"].model_copy(update={"jaw_flats_mm": flats_mm})
    return RULES.__class__(
        **{name: getattr(RULES, name) for name in RULES.__slots__ if name != "callipers"}, callipers=(calliper,)
    )


def read_bore_on_flats(reading_mm: float, flats_mm: float) -> CalliperReading:
    row = SheetRow(name="pin", kind="bore", reading=reading_mm)
    return reading_of(row, one_row_sheet(row), rules_with_flats(flats_mm))


@pytest.mark.parametrize(
    ("length_mm", "vernier_005", "vernier_002", "digital"),
    [
        (50, 50, 20, 20), (100, 50, 20, 20), (200, 50, 30, 30), (300, 50, 30, 30), (400, 60, 30, 30),
        (500, 70, 30, 30), (600, 80, 30, 30), (700, 90, 40, 40), (800, 100, 40, 40), (900, 110, 40, 40),
        (1000, 120, 40, 40), (1200, 140, 50, 50), (1400, 160, 50, 50), (1600, 180, 60, None),
        (1800, 200, 60, None), (2000, 220, 60, None),
    ],
)  # fmt: skip
def test_error_limits_are_those_of_din_862(length_mm, vernier_005, vernier_002, digital):
    """DIN 862, outside jaws, micrometres; at 1600 mm the source gives 50 to 60 for the finer vernier."""
    for name, limit_um in (("vernier 0.05", vernier_005), ("vernier 0.02", vernier_002), ("dial 0.02", vernier_002)):
        assert error_limit_mm(CALLIPERS[name], length_mm) == pytest.approx(limit_um / 1000.0)
    found = error_limit_mm(CALLIPERS["digital 0.01"], length_mm)
    assert found == (None if digital is None else pytest.approx(digital / 1000.0))


def test_a_reading_at_the_end_of_a_range_has_the_limit_of_that_range():
    assert error_limit_mm(CALLIPERS["digital 0.01"], 100.0) == 0.02
    assert error_limit_mm(CALLIPERS["digital 0.01"], 100.01) == 0.03


def test_inside_and_depth_readings_have_twenty_micrometres_more():
    assert {calliper.inside_extra_mm for calliper in RULES.callipers} == {0.02}


def test_the_uncertainty_of_one_reading_on_plastic_is_that_of_the_worked_example():
    """Digital, 100 to 200 mm: 0.03 / sqrt 3, 0.01 / sqrt 12 and 0.010 give 0.0202; inside jaws 0.0307."""
    assert read(150.0).u == pytest.approx(0.0202, abs=0.00005)
    assert read(150.0, "bore").u == pytest.approx(0.0307, abs=0.00005)
    assert read(150.0, "step", gauged="depth rod").u == pytest.approx(0.0307, abs=0.00005)


def test_the_step_s_part_is_the_guide_s():
    """JCGM 100:2008, F.2.2.1: a display of step d has 0.29 d."""
    coarse = Calliper(
        name="step only",
        limits_mm=((100.0, 1e-9),),
        inside_extra_mm=0.0,
        step_mm=0.05,
        repeat_mm=1e-9,
        source="none at all",
    )
    rules = RULES.__class__(
        **{name: getattr(RULES, name) for name in RULES.__slots__ if name != "callipers"}, callipers=(coarse,)
    )
    row = SheetRow(name="body", kind="thickness", reading=8.0)
    found = reading_of(row, one_row_sheet(row, calliper="step only"), rules)
    assert found.u == pytest.approx(0.29 * 0.05, abs=0.005 * 0.05)  # half the last printed figure


# Diameter, then what flats of 0.3, 0.5, 0.7 and 1.0 mm take off a reading.
FLATS = [
    (3, 0.0150, 0.0420, 0.0828, 0.1716),
    (4, 0.0113, 0.0314, 0.0617, 0.1270),
    (5, 0.0090, 0.0251, 0.0492, 0.1010),
    (6, 0.0075, 0.0209, 0.0410, 0.0839),
    (8, 0.0056, 0.0156, 0.0307, 0.0627),
    (10, 0.0045, 0.0125, 0.0245, 0.0501),
]


@pytest.mark.parametrize(("diameter_mm", "off_03", "off_05", "off_07", "off_10"), FLATS)
def test_a_bore_read_on_flats_comes_out_at_its_diameter(diameter_mm, off_03, off_05, off_07, off_10):
    for flats_mm, off_mm in ((0.3, off_03), (0.5, off_05), (0.7, off_07), (1.0, off_10)):
        found = read_bore_on_flats(diameter_mm - off_mm, flats_mm)
        assert found.value == pytest.approx(diameter_mm, abs=0.0001)  # the table has four decimals
        assert "flats" in found.note


def test_an_instrument_maker_s_flats_for_a_five_millimetre_bore():
    """A maker's handbook prints 0.009, 0.026, 0.047 (from memory, not confirmed): the same to 3 micrometres."""
    for flats_mm, printed_mm in ((0.3, 0.009), (0.5, 0.026), (0.7, 0.047)):
        assert 5.0 - sqrt(5.0**2 - flats_mm**2) == pytest.approx(printed_mm, abs=0.003)


@LAW
@given(diameter_mm=floats(2.0, 100.0), flats_mm=floats(0.0, 1.5))
def test_the_flats_correction_undoes_the_chord(diameter_mm, flats_mm):
    reading_mm = sqrt(diameter_mm**2 - flats_mm**2)
    assert bore_across_flats_mm(reading_mm, flats_mm) == pytest.approx(diameter_mm, abs=1e-9)


def test_flats_concern_bores_read_with_inside_jaws_and_nothing_else():
    flats = rules_with_flats(0.5)
    for kind, gauged in (("bore", "pin"), ("thickness", "inside jaws"), ("boss", "outside jaws")):
        row = SheetRow(name="body", kind=kind, reading=6.0, gauged=gauged)
        assert reading_of(row, one_row_sheet(row), flats).value == 6.0


def test_a_small_bore_on_unknown_flats_is_pointed_out_and_a_large_one_is_not():
    assert "flats not known" in read(6.0, "bore").note
    assert read(40.0, "bore").note == ""


def test_a_bore_gauged_with_a_pin_is_surer_than_one_read_with_jaws():
    pin, jaws = read(6.0, "bore", gauged="pin"), read(6.0, "bore", gauged="inside jaws")
    assert 0.0 < pin.u < jaws.u / 2
    assert pin.value == 6.0


def test_what_the_sheet_does_not_say_is_taken_as_usual():
    assert read(6.0, "bore").u == read(6.0, "bore", gauged="inside jaws").u
    assert read(6.0, "step").u == read(6.0, "step", gauged="depth rod").u
    assert read(6.0, "boss").u == read(6.0, "boss", gauged="outside jaws").u


def test_an_angle_is_sure_to_a_tenth_of_a_degree():
    assert read(90.0, "angle") == CalliperReading(90.0, 0.1, "")


def test_a_row_that_has_not_been_read_has_no_reading():
    assert read(None) is None


@LAW
@given(shorter=floats(1.0, 1400.0), longer=floats(1.0, 1400.0))
def test_a_longer_reading_is_never_surer(shorter, longer):
    shorter, longer = sorted((shorter, longer))
    assert read(shorter).u <= read(longer).u


def test_a_reading_longer_than_the_calliper_is_a_mistake():
    with pytest.raises(RuleMistake, match=r"longer than the calliper 'digital 0\.01', 1400 mm"):
        read(1400.1)


def test_a_calliper_nobody_has_is_named():
    with pytest.raises(UnknownName, match=r"no calliper called 'digital 0.001'.*Write 'digital 0.01'"):
        read(6.0, calliper="digital 0.001")


def test_a_countersink_is_read_across_a_rim_that_is_not_sharp_and_its_angle_by_what_fits_it():
    plain, flats = {"name": "sink", "reading": 10.0, "of": "bore"}, 0.5
    sink = SheetRow(kind="countersink diameter", **plain)
    found = reading_of(sink, one_row_sheet(sink), rules_with_flats(flats))
    bore = SheetRow(kind="counterbore diameter", **plain)
    seat = reading_of(bore, one_row_sheet(bore), rules_with_flats(flats))
    assert found.value == seat.value == pytest.approx(hypot(10.0, flats))
    assert found.u == pytest.approx(hypot(seat.u, 0.05))
    angle = SheetRow(name="slant", kind="countersink angle", reading=90.0, of="bore")
    assert reading_of(angle, one_row_sheet(angle), rules_with_flats(flats)).u == 1.0


def test_a_counterbore_s_depth_is_read_with_the_depth_rod():
    depth = SheetRow(name="deep", kind="counterbore depth", reading=4.0, of="bore")
    assert gauge_of(depth) == "depth rod"
    with pytest.raises(ValueError, match="cannot be gauged with 'pin'"):
        SheetRow(name="deep", kind="counterbore depth", reading=4.0, of="bore", gauged="pin")
    with pytest.raises(ValueError, match="does not say of which bore"):
        SheetRow(name="deep", kind="counterbore depth", reading=4.0)
