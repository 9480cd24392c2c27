"""Missing bores, look-alikes, misread values: rows may stay undecided, none may be wrong without saying so."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from verifier.measuring import measure

from .parts import RULES, Face, Hole, PartPlan, bore_rows, distance_rows, row, scan, sheet

# The rectangle whose sides differ less than a wrong scale and a misread value could: published trial figures of such
# matchers on it are up to 5.9 % of rows silently wrong.
RECTANGLE = (Hole("a", 0, 0, 5), Hole("b", 30, 0, 5), Hole("c", 30, 31, 5), Hole("d", 0, 31, 5))
SIDES = (("a", "b"), ("b", "c"), ("c", "d"), ("d", "a"))
DIAGONALS = (("a", "c"), ("b", "d"))
STEPPED = tuple(replace(h, diameter=d) for h, d in zip(RECTANGLE, (5.0, 5.3, 5.6, 6.0), strict=True))
MARKED = (*RECTANGLE, Hole("e", 12, 9, 8))
ROCKER = (Hole("a", 0, 0, 12), Hole("b", -48, 6, 5), Hole("c", 36, 8, 5.5))
CIRCLE = tuple(Hole(f"{i}", 25 * np.cos(i * np.pi / 4), 25 * np.sin(i * np.pi / 4), 4.5) for i in range(8))
LAYOUTS = {
    "rectangle": (RECTANGLE, SIDES),
    "rectangle and diagonals": (RECTANGLE, (*SIDES, *DIAGONALS)),
    "rectangle of four diameters": (STEPPED, SIDES),
    "rectangle and one other bore": (MARKED, (*SIDES, ("a", "e"), ("b", "e"))),
    "three bores": (
        (Hole("a", 0, 0, 5), Hole("b", 30, 0, 5), Hole("c", 10, 28, 5)),
        (("a", "b"), ("b", "c"), ("a", "c")),
    ),
    "lever": ((Hole("a", 0, 0, 10), Hole("b", 42, 0, 6)), (("a", "b"),)),
    "rocker": (ROCKER, (("a", "b"), ("a", "c"), ("b", "c"))),
    "circle of eight": (CIRCLE, (*((f"{i}", f"{(i + 1) % 8}") for i in range(8)), ("0", "4"), ("1", "5"))),
}


def trial(layout, seed, *, missing, look_alikes, misread=False):
    """One part, its sheet and its scan; outcomes counted as right, one of a set, told (tie or not found) or WRONG.

    Every part differs from its drawing by 0.05 mm in every size, as mouldings do, and is read on the original.
    """
    drawn, pairs = LAYOUTS[layout]
    rng = np.random.default_rng([seed, len(drawn), len(pairs)])
    true = [_moulded(hole, rng) for hole in drawn]
    rows = [*bore_rows(true, rng), *distance_rows(true, pairs, rng), row("length", "overall", 60.0, along="length")]
    if misread:
        k = rng.integers(len(rows) - 1)
        off = rng.choice([-1, 1]) * rng.uniform(0.2, 0.5)
        rows[k] = rows[k].model_copy(update={"reading": rows[k].reading + off})
    kept = [hole for hole in true if rng.random() > missing]
    spots = np.array([(hole.x, hole.y) for hole in true])
    low, high = spots.min(axis=0) - 5, spots.max(axis=0) + 5
    extra: list[Hole] = []
    for k in range(look_alikes):
        extra.append(_look_alike(k, true[rng.integers(len(true))], low, high, [*true, *extra], rng))
    scanned = scan(
        PartPlan((*kept, *extra), (), (60, 45, 8)),
        rng,
        scale=rng.uniform(0.99, 1.01),
        coat=rng.uniform(0.0, 0.1),
        turn=Rotation.random(random_state=seed),
    )
    order = rng.permutation(len(rows))
    sizes = measure(scanned.features, sheet(*(rows[i] for i in order)), RULES)
    return Counter(_outcome(rows[i], size, scanned.drawn) for i, size in zip(order, sizes, strict=True))


def _moulded(hole, rng):
    x, y, diameter = np.array([hole.x, hole.y, hole.diameter]) + 0.05 * rng.standard_normal(3)
    return replace(hole, x=x, y=y, diameter=diameter)


def _look_alike(number, like, low, high, others, rng):
    """A bore about as large as one of the sheet, anywhere but where it would run into another, scanned or not."""
    diameter = like.diameter + 0.05 * rng.standard_normal()
    while True:
        x, y = rng.uniform(low, high)
        if all(np.hypot(x - hole.x, y - hole.y) > 0.5 * (diameter + hole.diameter) for hole in others):
            return Hole(f"look-alike {number}", x, y, diameter)


def _outcome(asked, size, drawn):
    if asked.kind == "overall":
        return "overall"
    ends = set(asked.between or (asked.name,))
    if size.measured_mm is None or size.alternatives_mm:
        return "told" if ends <= set(drawn.values()) else "told, and it was missing"
    if "by one distance alone" in size.reason:
        return "right, with a warning" if {drawn[name] for name in size.features} == ends else "wrong, with a warning"
    if {drawn[name] for name in size.features} == ends:
        return "right"
    # A declared set shows its worst member, which need not be the row's own; but the row's own must be there.
    return "one of a set" if size.set_size > 1 and ends <= set(drawn.values()) else "WRONG"


def trials(count, **how):
    layouts = list(LAYOUTS)
    return sum((trial(layouts[k % len(layouts)], k, **how) for k in range(count)), Counter())


@pytest.mark.parametrize("count", [150, pytest.param(1000, marks=pytest.mark.long)])
def test_rectangles_with_missing_bores_and_look_alikes_have_no_row_wrong_without_saying_so(count):
    found = sum((trial("rectangle", k, missing=0.15, look_alikes=2) for k in range(count)), Counter())
    assert found["WRONG"] == 0, found
    # The check is not passed by deciding nothing: where no bore is missing (half of the trials) rows are decided.
    assert found["right"] + found["one of a set"] > 3 * count, found


@pytest.mark.parametrize("count", [160, pytest.param(320, marks=pytest.mark.long)])
def test_other_layouts_with_missing_bores_and_look_alikes_have_no_row_wrong_without_saying_so(count):
    found = trials(count, missing=0.15, look_alikes=2)
    assert found["WRONG"] == 0, found
    assert found["right"] > 3.125 * count, found


@pytest.mark.long
def test_a_misread_value_on_top_of_that_still_makes_no_row_wrong_without_saying_so():
    found = trials(320, missing=0.15, look_alikes=2, misread=True)
    assert found["WRONG"] == 0, found


@pytest.mark.parametrize("layout", ["rectangle of four diameters", "rectangle and one other bore", "three bores"])
def test_with_all_bores_found_a_misread_value_leaves_few_rows_open_and_none_wrong(layout):
    found = sum((trial(layout, k, missing=0.0, look_alikes=0, misread=True) for k in range(60)), Counter())
    assert found["WRONG"] == 0, found
    # 'three bores' are alike but for distances of 30, 29.7 and 34.4 that a misread value can make equal.
    assert found["told"] <= 0.05 * sum(found.values()), found


def test_a_distance_a_millimetre_off_is_not_called_misread_for_it_may_be_another_bore():
    drawn, pairs = LAYOUTS["rocker"]
    rows = [*bore_rows(drawn), *distance_rows(drawn, pairs)]
    moved = (drawn[0], drawn[1], replace(drawn[2], x=37.0))
    for size in measure(scan(PartPlan(moved), np.random.default_rng(1)).features, sheet(*rows), RULES):
        if "c" in size.name.split(" to "):
            assert size.measured_mm is None, size


def test_a_lever_held_by_one_distance_is_not_sure_while_a_bore_on_no_row_looks_like_one_of_its_own():
    drawn, pairs = LAYOUTS["lever"]
    rows = [*bore_rows(drawn), *distance_rows(drawn, pairs)]
    spare = Hole("spare", 20.0, 5.0, 6.1)
    sizes = measure(scan(PartPlan((*drawn, spare)), np.random.default_rng(1)).features, sheet(*rows), RULES)
    assert [size.measured_mm for size in sizes] == [None] * 3
    assert all("on no row" in size.reason for size in sizes)
    assert "one more distance to 'a' or 'b'," in sizes[2].do  # and not to the distance itself
    rows += [*bore_rows([spare]), *distance_rows((*drawn, spare), [("b", "spare")])]
    sizes = measure(scan(PartPlan((*drawn, spare)), np.random.default_rng(1)).features, sheet(*rows), RULES)
    assert None not in [size.measured_mm for size in sizes]


def test_a_rectangle_with_a_bore_missing_and_a_look_alike_has_no_decided_row():
    spots = [(14.0, 12.0), (3.0, 20.0), (25.0, 8.0)]
    rows = [*bore_rows(RECTANGLE), *distance_rows(RECTANGLE, SIDES)]
    for gone in range(4):
        kept = [hole for k, hole in enumerate(RECTANGLE) if k != gone]
        for x, y in spots:
            part = PartPlan((*kept, Hole("look-alike", x, y, 5.0)))
            sizes = measure(scan(part, np.random.default_rng(gone)).features, sheet(*rows), RULES)
            assert [size.measured_mm for size in sizes] == [None] * 8


def test_a_leaning_ring_of_four_with_a_reading_off_is_nowhere_sure():
    """Two look-alikes in place of two missing bores: three sides agree, and no bore is fixed by a chain of three."""
    leaning = (*RECTANGLE[:2], Hole("look-alike c", 27.2, 30.87, 5), Hole("look-alike d", -2.8, 30.87, 5))
    for off in (-0.2, 0.15, 0.3):
        rows = [*bore_rows(RECTANGLE), *distance_rows(RECTANGLE, SIDES)]
        rows[6] = rows[6].model_copy(update={"reading": rows[6].reading + off})
        for size in measure(scan(PartPlan(leaning), np.random.default_rng(1)).features, sheet(*rows), RULES):
            assert size.measured_mm is None or "by one distance alone" in size.reason


def test_equal_bores_of_which_the_sheet_names_a_few_are_measured_by_their_worst():
    """Four equal bores, two on the sheet: whichever two are meant, the numbers are the same."""
    drawn = LAYOUTS["rectangle"][0]
    rows = [*bore_rows(drawn[:2]), *distance_rows(drawn, [("a", "b")])]
    sizes = measure(scan(PartPlan(drawn), np.random.default_rng(1)).features, sheet(*rows), RULES)
    assert [round(size.measured_mm, 1) for size in sizes] == [5.0, 5.0, 30.0]
    assert [size.set_size for size in sizes] == [4, 4, 2]


def test_a_lever_held_by_one_distance_says_so_and_an_edge_more_makes_it_sure():
    drawn, pairs = LAYOUTS["lever"]
    rows = [*bore_rows(drawn), *distance_rows(drawn, pairs)]
    for size in measure(scan(PartPlan(drawn), np.random.default_rng(1)).features, sheet(*rows), RULES):
        assert size.measured_mm is not None
        assert "by one distance alone" in size.reason
    flank = Face("flank", (0.0, 12.0, 0.0), (0.0, 1.0, 0.0), (60.0, 8.0))
    rows += [row(f"{name} to flank", "edge distance", 12.0, of=name) for name in ("a", "b")]
    for size in measure(scan(PartPlan(drawn, (flank,)), np.random.default_rng(1)).features, sheet(*rows), RULES):
        assert size.measured_mm is not None
        assert "one distance" not in size.reason


@pytest.mark.parametrize("count", [150, pytest.param(1000, marks=pytest.mark.long)])
def test_of_many_levers_with_a_look_alike_none_is_wrong_without_a_warning(count):
    found = sum((trial("lever", 60_000 + k, missing=0.15, look_alikes=1) for k in range(count)), Counter())
    assert found["WRONG"] == 0, found
