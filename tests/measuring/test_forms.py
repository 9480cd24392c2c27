"""Rows of form: judged on the faces and axes that other rows were found on, against their datum."""

from functools import cache

import numpy as np
import pytest

from inbox_demo import simulated as sim
from tests.finding.parts import NOISE_A, solid_of
from verifier.finding import find_features
from verifier.measuring import measure

from . import shapes
from .parts import RULES, row, sheet

ROWS = (
    row("plate", "thickness", 10.0),
    row("lug", "thickness", 12.0),
    row("bore", "bore", 8.0),
    row("lug upright", "perpendicularity", of="lug", datum="plate", tolerance=0.2),
    row("bore upright", "perpendicularity", of="bore", datum="plate", tolerance=0.2),
    row("lug sides", "parallelism", of="lug", tolerance=0.2),
    row("bore along lug", "parallelism", of="bore", datum="lug", tolerance=0.2),
)


@cache
def sizes(lean_deg):
    part = shapes.leaning_lug(lean_deg, bore_deg=lean_deg)
    features = find_features(solid_of(sim.scan(part, spacing_mm=0.5, seed=31, **NOISE_A)))
    return {size.name: size for size in measure(features, sheet(*ROWS), RULES)}


def test_a_lug_and_a_bore_that_lean_by_a_degree_are_out_of_square_by_their_rise():
    found = sizes(1.0)
    # 20 mm of lug and 10 mm of bore, less the rounded edges of half a millimetre at either end.
    for name, rise in (("lug upright", 19.0), ("bore upright", 9.5)):
        true = rise * np.sin(np.radians(1.0))
        assert found[name].measured_mm == pytest.approx(true, abs=2.0 * found[name].u_mm + 0.01), name


def test_the_two_sides_of_that_lug_are_still_parallel():
    assert sizes(1.0)["lug sides"].measured_mm < 2.0 * sizes(1.0)["lug sides"].u_mm


def test_an_upright_bore_and_lug_are_out_of_square_by_no_more_than_scatter_explains():
    for name in ("lug upright", "bore upright", "lug sides", "bore along lug"):
        size = sizes(0.0)[name]
        assert size.measured_mm < 2.5 * size.u_mm, size
        assert size.u_mm < 0.05, size


def test_a_form_of_a_row_that_was_not_found_says_so():
    features = find_features(solid_of(sim.scan(shapes.bowed_plate(0.3), spacing_mm=0.8, seed=3, **NOISE_A)))
    rows = (
        row("plate", "thickness", 6.2),
        row("rib", "thickness", 3.0),
        row("top", "flatness", of="plate", tolerance=0.2),
        row("rib flat", "flatness", of="rib", tolerance=0.2),
    )
    found = {size.name: size for size in measure(features, sheet(*rows), RULES)}
    # The bow is 0.3 mm; the outermost millimetre, rounded by the scanner, is not looked at.
    assert found["top"].measured_mm == pytest.approx(0.285, abs=2.0 * found["top"].u_mm)
    assert found["rib flat"].measured_mm is None
    assert "'rib' was not found" in found["rib flat"].reason
