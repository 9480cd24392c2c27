"""Rows that only a mirror or a turn of the part exchanges: one of a set, whatever the moulding made of each."""

import numpy as np
import pytest

from verifier.measuring import measure

from .parts import RULES, Hole, PartPlan, bore_rows, distance_rows, scan, sheet

# Long sides of 50.00 and 50.08, short ones of 30.00 and 30.06; the drawing has one of each.
MOULDED = (Hole("a", 0, 0, 5.0), Hole("b", 50.0, 0, 5.02), Hole("c", 50.06, 30.0, 4.97), Hole("d", -0.02, 30.06, 5.0))
PITCHES = [("a", "b"), ("b", "c")]


def sizes_of(holes, read=MOULDED):
    scanned = scan(PartPlan(holes), np.random.default_rng(3), noisy=False)
    rows = [*bore_rows(read), *distance_rows(read, PITCHES)]
    return {size.name: (size, scanned.drawn) for size in measure(scanned.features, sheet(*rows), RULES)}


def test_a_pitch_that_a_mirror_exchanges_with_another_is_one_of_two_and_the_worst_counts():
    size, _ = sizes_of(MOULDED)["a to b"]
    assert size.set_size == 2
    assert size.alternatives_mm == ()
    assert size.measured_mm == pytest.approx(50.08, abs=0.001)
    # Its own pitch may lie 0.08 mm from the worst: half of that is in its uncertainty beside the 0.01 of its bores.
    assert size.u_mm == pytest.approx(np.hypot(0.01, 0.04), abs=0.001)


def test_a_bore_that_no_distance_ties_is_none_that_a_mirror_gives_to_another_row():
    size, drawn = sizes_of(MOULDED)["d"]
    assert size.set_size > 1
    assert "d" in {drawn[name] for name in size.set_features}


def test_where_a_look_alike_lies_beside_the_place_of_a_missing_bore_no_mirror_makes_a_set():
    aside = Hole("look-alike", 0.5, 30.4, 5.0)
    for name, (size, _) in sizes_of((*MOULDED[:3], aside)).items():
        assert size.set_size == 1, name
