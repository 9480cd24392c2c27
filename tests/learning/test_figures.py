"""The tables' figures and the shop's own: which are used, and what a print that does not fit is told."""

import dataclasses

import numpy as np
import pytest
from prints import BENCH_220, LATCH_LEVER, PA6, PETG, kept, printed, series

from verifier.learning.disagreeing import disagreements, drifts
from verifier.learning.figures import figures_of, own_figures
from verifier.learning.row import PrintRow
from verifier.learning.terms import TERMS, design_of
from verifier.rulebook.own_figures import with_own_figures

TRUTH = (0.0052, 0.0021, 0.13, 0.02)
BETWEEN = (0.0002, 0.0003, 0.015, 0.005)


def prints_of(truths, rng, part="seat_armrest", filament="PETG", condition=None):
    return [kept(k + 1, printed(part, truth, rng), part, filament, condition) for k, truth in enumerate(truths)]


def test_the_shop_s_own_figures_stand_in_once_they_are_surer():
    rng = np.random.default_rng(21)
    prints = prints_of(series(rng, 4, TRUTH, BETWEEN), rng)
    none, one = figures_of(PETG, BENCH_220, [], 0.01), figures_of(PETG, BENCH_220, prints[:1], 0.01)
    assert own_figures(none) == own_figures(one) == ()
    filament, printer = with_own_figures(PETG, BENCH_220, own_figures(figures_of(PETG, BENCH_220, prints, 0.01)))
    assert filament.shrink_xy == pytest.approx(0.0052, abs=0.0003)
    assert 0 < filament.u_shrink_xy < PETG.u_shrink_xy
    assert printer.hole_allowance_mm == pytest.approx(0.13, abs=0.04)
    assert filament.source.startswith(
        "shrinkage in the plane of the layers: 4 prints of our own on bench 220, 2024-05-01 to 2024-05-04"
    )
    assert filament.source.endswith("all else: for tests")


def test_prints_of_another_filament_or_printer_count_for_nothing():
    rng = np.random.default_rng(22)
    prints = prints_of(series(rng, 4, TRUTH, BETWEEN), rng, filament="ASA")
    assert figures_of(PETG, BENCH_220, prints, 0.01).prints == ()
    own = own_figures(figures_of(PETG, BENCH_220, prints_of(series(rng, 4, TRUTH, BETWEEN), rng), 0.01))
    elsewhere = BENCH_220.model_copy(update={"name": "closed 300"})
    assert with_own_figures(PETG, elsewhere, own) == (PETG, elsewhere)


def test_a_scanned_print_is_no_surer_of_its_shrinkage_than_its_scan_of_the_scale():
    rng = np.random.default_rng(28)
    (sure,) = prints_of([TRUTH], rng)
    scanned = dataclasses.replace(sure, u_scale=0.0006)
    told = [figures_of(PETG, BENCH_220, [each], 0.01).fits[1].terms for each in (sure, scanned)]
    assert told[1]["shrink_xy"].u == pytest.approx(np.hypot(told[0]["shrink_xy"].u, 0.0006))
    assert told[1]["hole_mm"] == told[0]["hole_mm"]


def test_of_a_nylon_only_conditioned_prints_count():
    rng = np.random.default_rng(23)
    dry = prints_of(series(rng, 3, TRUTH, BETWEEN), rng, filament="PA6", condition="dry")
    assert figures_of(PA6, BENCH_220, dry, 0.01).prints == ()
    conditioned = prints_of(series(rng, 3, TRUTH, BETWEEN), rng, filament="PA6", condition="conditioned")
    assert len(figures_of(PA6, BENCH_220, dry + conditioned, 0.01).prints) == 3


@pytest.mark.parametrize(("filament", "seed"), [(PETG, 777101), (PA6, 777102)], ids=["PETG", "PA6"])
def test_after_three_prints_the_predicted_sizes_are_three_times_closer_than_by_the_table(filament, seed):
    """100 series a filament; the table is wrong by its stated uncertainty, prints differ by 0.02 % and 0.015 mm."""
    rng = np.random.default_rng(seed)
    tables = (filament.shrink_xy, filament.shrink_z, BENCH_220.hole_allowance_mm, 0.0)
    u = (filament.u_shrink_xy, filament.u_shrink_z, BENCH_220.u_hole_mm, 0.03)
    by_table, by_own = [], []
    for _ in range(100):
        *first, fourth = series(rng, 4, rng.normal(tables, u), BETWEEN)
        condition = "conditioned" if filament is PA6 else None
        prints = prints_of(first, rng, "latch_lever", filament.name, condition)
        known = figures_of(filament, BENCH_220, prints, 0.01).known
        own = [known[name].pooled.value if known[name].used else known[name].table.value for name in TERMS]
        for name, kind, size_mm, rise, walls, hole in LATCH_LEVER:
            loses = design_of([PrintRow(name, kind, size_mm, 0.0, size_mm, rise, walls, hole)])[0]
            by_table.append(loses @ (np.array(tables) - fourth))
            by_own.append(loses @ (np.array(own) - fourth))
    assert np.sqrt(np.mean(np.square(by_table))) >= 3.0 * np.sqrt(np.mean(np.square(by_own)))


def test_a_print_that_does_not_fit_the_others_is_told():
    rng = np.random.default_rng(24)
    truths = [*series(rng, 5, TRUTH, BETWEEN), (0.0095, 0.0021, 0.13, 0.02)]
    told = disagreements(figures_of(PETG, BENCH_220, prints_of(truths, rng), 0.01))
    assert [(each.name, each.print_number) for each in told] == [("shrink_xy", 6)]


def test_prints_alike_are_seldom_called_different():
    rng = np.random.default_rng(25)
    alarms = 0
    for _ in range(60):
        figures = figures_of(PETG, BENCH_220, prints_of(series(rng, 6, TRUTH, BETWEEN), rng), 0.01)
        alarms += bool(disagreements(figures)) + bool(drifts(figures))
    assert alarms <= 6  # two alarms of 1 % each make 1.2 of 60; 7 come by chance once in 5000 times


def test_a_filament_that_shrinks_more_from_print_to_print_is_told_as_drift():
    rng = np.random.default_rng(26)
    truths = [(0.003 + 0.0004 * k, 0.0021, 0.13, 0.02) for k in range(8)]
    (drift,) = drifts(figures_of(PETG, BENCH_220, prints_of(truths, rng), 0.01))
    assert drift.name == "shrink_xy"
    assert (drift.last - drift.first) / (drift.prints - 1) == pytest.approx(0.0004, rel=0.2)


def test_an_impossible_shrinkage_is_not_used():
    rng = np.random.default_rng(27)
    truths = [(0.31, 0.0021, 0.13, 0.02)] * 4  # a sheet in inches, say
    known = figures_of(PETG, BENCH_220, prints_of(truths, rng), 0.01).known["shrink_xy"]
    assert not known.used
