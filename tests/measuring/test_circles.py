"""Pitch circles through three and more bores."""

from dataclasses import replace

import numpy as np
import pytest

from verifier.measuring import measure
from verifier.measuring.belief import first_belief
from verifier.measuring.candidate import Candidate
from verifier.measuring.decide import Case, decide
from verifier.measuring.option import Option
from verifier.measuring.wanted import Wanted

from .parts import RULES, Hole, PartPlan, bore_rows, distance_rows, row, scan, sheet

RING = tuple(Hole(f"{i}", 22 * np.cos(i * np.pi / 3), 22 * np.sin(i * np.pi / 3), 5.5) for i in range(6))
NAMES = [hole.name for hole in RING]
MIDDLE = Hole("middle", 0, 0, 20)


def circle(holes, rows, **how):
    scanned = scan(PartPlan(holes), np.random.default_rng(2), **{"noisy": False, **how})
    return measure(scanned.features, sheet(*rows), RULES)[-1]


def test_six_equal_bores_have_one_circle_whichever_is_which():
    rows = [*bore_rows(RING), row("ring", "pitch circle", 44.0, through=NAMES)]
    found = circle((*RING, MIDDLE), rows)
    assert found.measured_mm == pytest.approx(44.0, abs=1e-9)
    assert found.alternatives_mm == ()
    assert len(found.features) == 6


def test_its_uncertainty_is_that_of_the_fit():
    """Of six axes evenly round, u of each square to the circle: the radius has u / sqrt 6, the diameter twice that."""
    rows = [*bore_rows(RING), row("ring", "pitch circle", 44.0, through=NAMES)]
    assert circle(RING, rows, u=0.012).u_mm == pytest.approx(2.0 * 0.012 / np.sqrt(2.0) / np.sqrt(6.0), rel=0.01)


def test_a_coat_leaves_it_and_a_scale_enlarges_it():
    rows = [*bore_rows(RING), row("ring", "pitch circle", 44.0, through=NAMES)]
    found = circle(RING, rows, coat=0.06, scale=1.002)
    assert (found.measured_mm, found.walls) == (pytest.approx(44.088, abs=1e-6), 0)


def test_a_seventh_bore_that_lies_on_another_circle_is_not_taken_for_one_of_the_six():
    rows = [*bore_rows(RING), row("ring", "pitch circle", 44.0, through=NAMES)]
    found = circle((*RING, Hole("spare", 10, 4, 5.5)), rows)
    assert found.measured_mm is None or found.measured_mm == pytest.approx(44.0, abs=1e-6), found


def test_three_bores_of_a_ring_that_may_be_any_three_give_the_worst_or_say_so():
    moved = tuple(replace(hole, x=hole.x * (1.0 + 0.02 * (k == 3))) for k, hole in enumerate(RING))
    rows = [*bore_rows(moved[:3]), row("ring", "pitch circle", 44.0, through=NAMES[:3])]
    found = circle(moved, rows)
    assert found.alternatives_mm
    assert "fit equally well" in found.reason


def test_a_bore_of_it_that_was_not_found_leaves_it_open():
    rows = [*bore_rows(RING), *distance_rows(RING, [("0", "3"), ("0", "1"), ("0", "2"), ("3", "4"), ("3", "5")])]
    rows += [row("ring", "pitch circle", 44.0, through=NAMES)]
    assert circle(RING[:5], rows).measured_mm is None


@pytest.mark.parametrize(("seen_mm", "says"), [(44.01, "may be it"), (47.0, "fits 44.00 mm; nearest")])
def test_a_circle_behind_one_not_found_is_no_misfit_where_it_has_the_size(seen_mm, says):
    wanted = Wanted(0, row("ring", "pitch circle", 44.0, through=NAMES[:3]), 44.0, 0.02)
    seen = Candidate(seen_mm, 0.01, 0.0, ("bore 1", "bore 2", "bore 3"), np.zeros((2, 3)))
    (found,) = decide([Case(wanted, (Option(None, 0.0), Option(seen, 0.5)), first_belief(RULES)[0])])
    assert says in found.reason
    assert found.fits_nothing == (seen_mm == 47.0)


def test_bores_on_a_line_have_no_circle():
    line = (Hole("a", 0, 0, 5), Hole("b", 20, 0, 6), Hole("c", 45, 0.1, 7))
    rows = [*bore_rows(line), row("ring", "pitch circle", 44.0, through=["a", "b", "c"])]
    assert circle(line, rows).measured_mm is None
