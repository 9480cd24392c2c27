"""The sizes as a table for a spreadsheet."""

import csv
import io

import pytest

from verifier.inspection import Inspection
from verifier.reporting import as_csv

from .examples import ANGLE, EVERY, FAILED, TO_MEASURE, hostile, inspection, size


def read(told: Inspection) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(as_csv.render(told))))


@pytest.mark.parametrize("told", EVERY.values(), ids=EVERY.keys())
def test_every_size_stands_in_the_table_with_its_verdict_and_reason(told: Inspection):
    assert [(row["name"], row["verdict"], row["reason"]) for row in read(told)] == [
        (size.name, size.verdict, size.reason) for size in told.sizes
    ]


def test_the_figures_are_those_of_the_report_to_the_last_digit():
    for row, told in zip(read(FAILED), FAILED.sizes, strict=True):
        assert float(row["corrected_mm"]) == told.corrected_mm
        assert (float(row["least_mm"]), float(row["greatest_mm"])) == told.tolerance_mm


def test_what_the_report_does_not_know_is_left_empty():
    (row,) = read(inspection(sizes=(TO_MEASURE,)))
    assert (row["reading_mm"], row["least_mm"], row["corrected_mm"]) == ("", "", "")


def test_an_angle_says_its_kind_so_that_its_degrees_are_not_taken_for_millimetres():
    (row,) = read(inspection(sizes=(ANGLE,)))
    assert row["kind"] == "angle"


@pytest.mark.parametrize("name", ["=1+1", "+x", "-x", "@x"])
def test_no_name_becomes_a_formula(name: str):
    (row,) = read(inspection(sizes=(size(name),)))
    assert row["name"] == "'" + name


def test_hostile_names_stay_in_their_field():
    assert len(read(hostile())) == len(hostile().sizes)
