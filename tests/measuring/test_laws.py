"""What must hold for any pose, scale, order and naming."""

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from verifier.measuring import measure

from .parts import RULES, Hole, PartPlan, bore_rows, box_faces, distance_rows, row, scan, sheet

HOLES = (Hole("pivot", 0, 0, 12), Hole("long end", -48, 6, 5), Hole("short end", 36, 8, 5.5))
PAIRS = [("pivot", "long end"), ("pivot", "short end"), ("long end", "short end")]
ROCKER = PartPlan(HOLES, box_faces(110, 30, 14), (110, 30, 14))
ROWS = (
    *bore_rows(HOLES),
    *distance_rows(HOLES, PAIRS),
    row("length", "overall", 110.0, along="length"),
    row("plate", "thickness", 14.0),
    row("flank", "edge distance", 9.0, of="long end"),
)
SEEDS = st.integers(0, 2**31 - 1)
# Sums and turns of lengths below 200 mm in double precision.
ROUNDING_MM = 1e-9


def rocker(turn_seed=0, **how):
    return scan(ROCKER, np.random.default_rng(5), turn=Rotation.random(random_state=turn_seed), **how).features


@settings(max_examples=25, deadline=None)
@given(seed=SEEDS)
def test_turning_the_part_changes_no_size(seed):
    for a, b in zip(measure(rocker(), sheet(*ROWS), RULES), measure(rocker(seed), sheet(*ROWS), RULES), strict=True):
        assert abs(a.measured_mm - b.measured_mm) < ROUNDING_MM
        assert a.features == b.features


@settings(max_examples=25, deadline=None)
@given(factor=st.floats(0.3, 3.0))
def test_a_part_scaled_by_k_with_its_sheet_has_sizes_scaled_by_k(factor):
    grown = PartPlan(
        tuple(replace(h, x=factor * h.x, y=factor * h.y, diameter=factor * h.diameter) for h in HOLES),
        box_faces(110 * factor, 30 * factor, 14 * factor),
        (110 * factor, 30 * factor, 14 * factor),
    )
    rows = [r.model_copy(update={"reading": factor * r.reading}) for r in ROWS]
    plain = measure(scan(ROCKER, np.random.default_rng(1), noisy=False).features, sheet(*ROWS), RULES)
    large = measure(scan(grown, np.random.default_rng(1), noisy=False).features, sheet(*rows), RULES)
    for a, b in zip(plain, large, strict=True):
        assert abs(factor * a.measured_mm - b.measured_mm) < ROUNDING_MM * max(1.0, factor)


@settings(max_examples=25, deadline=None)
@given(order=st.permutations(range(len(ROWS))), noise=SEEDS)
def test_neither_the_names_nor_the_order_of_the_rows_matter(order, noise):
    features = scan(ROCKER, np.random.default_rng(noise), scale=1.006, coat=0.05).features
    names = {r.name: f"row {order[i]}" for i, r in enumerate(ROWS)}
    renamed = [
        r.model_copy(
            update={
                "name": names[r.name],
                "between": r.between and tuple(names[end] for end in r.between),
                "of": r.of and names[r.of],
            }
        )
        for r in ROWS
    ]
    plain = {names[s.name]: s for s in measure(features, sheet(*ROWS), RULES)}
    mixed = measure(features, sheet(*(renamed[i] for i in order)), RULES)
    assert [s.name for s in mixed] == [renamed[i].name for i in order]
    for size in mixed:
        assert (size.measured_mm, size.features) == (plain[size.name].measured_mm, plain[size.name].features)


@settings(max_examples=40, deadline=None)
@given(scale=st.floats(0.99, 1.01), coat=st.floats(0.0, 0.1), noise=SEEDS)
def test_an_unknown_scale_and_coat_do_not_confuse_the_rows(scale, coat, noise):
    scanned = scan(ROCKER, np.random.default_rng(noise), scale=scale, coat=coat)
    found = measure(scanned.features, sheet(*ROWS), RULES)
    for asked, size in zip(ROWS, found, strict=True):
        if asked.kind in ("bore", "centre distance"):
            assert {scanned.drawn[f] for f in size.features} == set(asked.between or (asked.name,))
        assert size.alternatives_mm == ()
        # Six times the hand-made scan's 0.01 mm; an edge may be that of the other flank, 12 mm further.
        assert abs(size.measured_mm - (scale * asked.reading + size.walls * coat)) < 0.06
