"""The JSON report and its schema."""

import json
import math

import jsonschema
import pytest

from verifier.inspection import Inspection
from verifier.reporting import as_json

from .examples import EVERY, PASSED, hostile, size, told_texts

REPORTS = {**EVERY, "hostile": hostile()}


@pytest.mark.parametrize("inspection", REPORTS.values(), ids=REPORTS.keys())
def test_every_report_keeps_to_the_schema_that_is_shipped(inspection: Inspection):
    shipped = json.loads(as_json.SCHEMA_FILE.read_text(encoding="utf-8"))
    checker = jsonschema.Draft202012Validator
    checker.check_schema(shipped)
    checker(shipped).validate(json.loads(as_json.render(inspection)))


def test_the_shipped_schema_is_the_model_s():
    assert json.loads(as_json.SCHEMA_FILE.read_text(encoding="utf-8")) == as_json.schema()


def test_the_schema_can_be_written_anew(tmp_path):
    as_json.write_schema(tmp_path / "schema.json")
    assert (tmp_path / "schema.json").read_bytes() == as_json.SCHEMA_FILE.read_bytes()


def test_the_schema_turns_away_an_unknown_key():
    report = {**json.loads(as_json.render(PASSED)), "colour": "blue"}
    with pytest.raises(jsonschema.ValidationError, match="colour"):
        jsonschema.Draft202012Validator(as_json.schema()).validate(report)


@pytest.mark.parametrize("inspection", EVERY.values(), ids=EVERY.keys())
def test_everything_said_stands_in_the_json(inspection: Inspection):
    report = as_json.render(inspection)
    assert [text for text in told_texts(inspection) if json.dumps(text, ensure_ascii=False)[1:-1] not in report] == []


@pytest.mark.parametrize("inspection", REPORTS.values(), ids=REPORTS.keys())
def test_the_report_reads_back_as_the_same_inspection(inspection: Inspection):
    assert Inspection.model_validate_json(as_json.render(inspection)) == inspection


def test_a_name_sends_nothing_to_a_terminal_that_shows_the_json():
    name = "Türriegel \x1b[2J \x9b2J \N{RIGHT-TO-LEFT OVERRIDE}gnp"
    text = as_json.render(PASSED.model_copy(update={"part": name}))
    assert all(char == "\n" or char.isprintable() for char in text)
    assert "Türriegel" in text
    assert json.loads(text)["part"] == name


def test_the_schema_s_name_comes_first():
    assert next(iter(json.loads(as_json.render(PASSED)))) == "schema"


def test_figures_have_six_decimals_and_what_is_no_number_is_null():
    row = size("length", measured_mm=1.23456789, deviation_mm=-1e-9, smallest_error_mm=math.inf, seen_share=math.nan)
    text = as_json.render(PASSED.model_copy(update={"sizes": (row,)}))
    told = json.loads(text)["sizes"][0]
    assert (told["measured_mm"], told["smallest_error_mm"], told["seen_share"]) == (1.234568, None, None)
    assert '"deviation_mm": 0.0,' in text
    assert "NaN" not in text
    assert "Infinity" not in text
