"""Bores made truly round at the size they were measured: judged as scanned, printed round."""

from tests.correcting.bench import Row, scanned, sheet_for, shop
from verifier.correcting import separate_scale_from_coat, trued_holes
from verifier.rulebook.reshape_row import Reshape

PART = (
    Row("overall", "overall", 82.0, 2),
    Row("body", "thickness", 8.0, 2),
    Row("pivot", "bore", 10.0, -2),
    Row("pin", "bore", 6.0, -2),
    Row("between pivots", "centre distance", 54.0, 0),
)


def test_only_the_named_kept_bores_are_trued_at_what_was_measured_without_the_coat() -> None:
    sheet = sheet_for(PART).model_copy(update={"reshape": (Reshape(do="true up", what=("pivot", "plane 1")),)})
    correction = separate_scale_from_coat(scanned(PART, coat_mm=0.05), sheet, shop())
    holes = trued_holes(sheet, correction)
    assert set(holes) == {"pivot"}
    corrected = next(size.corrected_mm for size in correction.sizes if size.name == "pivot")
    assert holes["pivot"].diameter_mm == round(corrected, 6)
    assert abs(holes["pivot"].diameter_mm - 10.0) < 0.03  # and not 9.9, as it scanned with its powder
    assert holes["pivot"].as_measured


def test_a_bore_with_a_use_of_its_own_keeps_that() -> None:
    sheet = sheet_for(PART)
    rows = tuple(row.model_copy(update={"use": "true"}) if row.kind == "bore" else row for row in sheet.rows)
    sheet = sheet.model_copy(update={"size": rows, "reshape": (Reshape(do="true up", what=("pivot",)),)})
    correction = separate_scale_from_coat(scanned(PART), sheet, shop())
    assert trued_holes(sheet, correction) == {}
