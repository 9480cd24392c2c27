"""Rows of countersinks and counterbores: each of the bore it names, by the walls it crosses, and on a drafted sheet."""

from dataclasses import replace

import numpy as np
import pytest

from verifier.finding.feature import Cone, Counterbore
from verifier.measuring import measure, propose_rows
from verifier.rulebook.draft import draft_sheet_text

from .parts import NO_FACES, RULES, Hole, PartPlan, bore_rows, distance_rows, row, scan, sheet

UP = np.array([0.0, 0.0, 1.0])
HOLES = (Hole("screw", -15.0, 0.0, 5.0), Hole("pin", 15.0, 0.0, 5.5), Hole("wide", 15.0, 0.0, 9.0))


def cone(bore, x, *, mouth_mm=10.0, angle_deg=90.0, name="countersink 1"):
    at = np.array([x, 0.0, 8.0])
    return Cone(
        name,
        "countersink",
        at - [0.0, 0.0, 1.0],
        UP,
        angle_deg,
        mouth_mm - 2.0,
        mouth_mm,
        at,
        bore,
        "plane 1",
        0.02,
        "own",
        *(0.01, 360.0, 2.0, 0.02, 0.3, 0.01, 0.02, 0.01, 0.001),
        500,
        NO_FACES,
    )


def counterbore(bore, wide):
    floor = np.array([15.0, 0.0, 4.0])
    face = floor + 4.0 * UP
    numbers = (9.0, 0.01, 4.0, 0.006, 0.02, 1.0)
    return Counterbore("counterbore 1", bore, wide, "plane 1", floor, face, UP, *numbers, NO_FACES)


def part():
    """The screw's bore is countersunk, the pin's counterbored by the wide one; and what the sheet says of them."""
    found = scan(PartPlan(HOLES), np.random.default_rng(3), noisy=False)
    name = {drawn: feature for feature, drawn in found.drawn.items()}
    features = replace(
        found.features, cones=(cone(name["screw"], -15.0),), counterbores=(counterbore(name["pin"], name["wide"]),)
    )
    return features, [*bore_rows(HOLES[:2]), *distance_rows(HOLES, [("screw", "pin")])]


def sizes(features, *rows):
    return {size.name: size for size in measure(features, sheet(*rows), RULES)}


def test_each_row_has_what_widens_the_bore_it_names():
    features, rows = part()
    found = sizes(
        features,
        *rows,
        row("sink", "countersink diameter", 10.05, of="screw"),
        row("slant", "countersink angle", 90.0, of="screw"),
        row("seat", "counterbore diameter", 9.0, of="pin"),
        row("seat depth", "counterbore depth", 4.0, of="pin"),
    )
    assert [found[name].measured_mm for name in ("sink", "slant", "seat", "seat depth")] == [10.0, 90.0, 9.0, 4.0]
    assert [round(found[name].walls, 3) for name in ("sink", "slant", "seat", "seat depth")] == [-0.828, 0, -2, 0]
    assert np.linalg.norm(np.diff(found["sink"].points_mm, axis=0)) == pytest.approx(10.0)
    assert np.diff(found["seat depth"].points_mm, axis=0)[0] == pytest.approx([0.0, 0.0, 4.0])


def test_a_bore_that_is_not_widened_has_no_such_size():
    features, rows = part()
    found = sizes(features, *rows, row("sink", "countersink diameter", 10.0, of="pin"))["sink"]
    assert found.measured_mm is None
    assert found.reason == "not found: no countersink on a flat face fits 10.00 mm"


def test_of_two_countersinks_of_a_bore_the_reading_says_which_and_without_one_none_is_taken():
    features, rows = part()
    bore = features.cones[0].bore
    both = replace(features, cones=(*features.cones, cone(bore, -15.0, mouth_mm=8.0, name="countersink 2")))
    assert sizes(both, *rows, row("sink", "countersink diameter", 8.05, of="screw"))["sink"].measured_mm == 8.0
    unread = sizes(both, *rows, row("sink", "countersink diameter", of="screw"))["sink"]
    assert sorted([unread.measured_mm, *unread.alternatives_mm]) == [8.0, 10.0]


def test_a_drafted_sheet_asks_for_them_and_not_for_the_wide_part_as_a_bore():
    features, _ = part()
    rows = propose_rows(features)
    kinds = {row.kind: row for row in rows}
    assert [row.measured_mm for row in rows if row.kind == "bore"] == pytest.approx([5.5, 5.0])
    assert kinds["countersink diameter"].of in {row.name for row in rows if row.kind == "bore"}
    assert kinds["counterbore depth"].measured_mm == 4.0
    text = draft_sheet_text("hinge_leaf", rows)
    assert 'kind = "counterbore depth"' in text
    assert 'gauged = "depth rod"' in text
