"""Each kind of size against its closed form: exact features in, the drawn size out."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from verifier.measuring import measure

from .parts import RULES, Face, Hole, PartPlan, bore_rows, box_faces, distance_rows, row, scan, sheet

# Exact features are combined by a few dozen sums of lengths below 100 mm: rounding stays under this.
EXACT_MM = 1e-9
BODY = box_faces(84.0, 28.0, 8.0)
HUB_TOP = Face("hub top", (-20.0, 0.0, 8.0), (0.0, 0.0, 1.0), (12.0, 12.0))
HOLES = (Hole("pivot", -20.0, 0.0, 10.0), Hole("pin", 40.0, 4.0, 6.0), Hole("hub", -20.0, 0.0, 22.0, "boss"))
LEVER = PartPlan(HOLES, (*BODY, HUB_TOP), (84.0, 28.0, 8.0))
TURNED = Rotation.from_euler("xyz", [0.4, -1.1, 2.0])


def exact(part=LEVER, **how):
    return scan(part, np.random.default_rng(0), turn=TURNED, noisy=False, **how)


def sizes_of(part, *rows, **how):
    return measure(exact(part, **how).features, sheet(*rows), RULES)


@pytest.mark.parametrize(
    ("asked", "size", "walls"),
    [
        (row("pivot", "bore", 10.0), 10.0, -2),
        (row("hub", "boss", 22.0), 22.0, 2),
        (row("body", "thickness", 8.0), 8.0, 2),
        (row("hub step", "step", 4.0, gauged="depth rod"), 4.0, 0),
        (row("length", "overall", 84.0, along="length"), 84.0, 2),
        (row("height", "overall", 8.0, along="height"), 8.0, 2),
    ],
)
def test_each_kind_gives_the_drawn_size_times_scale_and_its_walls_of_coat(asked, size, walls):
    [found] = sizes_of(LEVER, asked)
    assert found.measured_mm == pytest.approx(size, abs=EXACT_MM)
    assert found.walls == walls
    assert found.alternatives_mm == ()
    [coated] = sizes_of(LEVER, asked, scale=1.003, coat=0.04)
    assert coated.measured_mm == pytest.approx(1.003 * size + walls * 0.04, abs=EXACT_MM)


def test_a_centre_distance_is_taken_square_to_the_axes_whatever_depth_each_bore_was_seen_at():
    # 60 along, 4 across; the hand-made axes are exactly parallel, so sliding a middle along its axis changes nothing.
    found = sizes_of(LEVER, *bore_rows(HOLES[:2]), *distance_rows(HOLES, [("pivot", "pin")]))[-1]
    assert found.measured_mm == pytest.approx(np.hypot(60.0, 4.0), abs=EXACT_MM)
    assert found.walls == 0
    assert np.linalg.norm(np.diff(found.points_mm, axis=0)) == pytest.approx(found.measured_mm, abs=EXACT_MM)


def test_an_edge_distance_counts_one_wall_more_when_the_face_looks_away_and_one_less_when_it_looks_at_the_bore():
    slot = Face("slot", (20.0, 0.0, 0.0), (1.0, 0.0, 0.0), (10.0, 8.0))
    part = PartPlan(HOLES[:2], (*BODY, slot), (84.0, 28.0, 8.0))
    rows = [row("pin", "bore", 6.0), row("pin to flank", "edge distance", 10.0, of="pin")]
    away = sizes_of(part, *rows, coat=0.05)[-1]
    assert (away.walls, away.measured_mm) == (1, pytest.approx(10.05, abs=EXACT_MM))
    rows = [row("pin", "bore", 6.0), row("pin to slot", "edge distance", 20.0, of="pin")]
    towards = sizes_of(part, *rows, coat=0.05)[-1]
    assert (towards.walls, towards.measured_mm) == (-1, pytest.approx(19.95, abs=EXACT_MM))


def test_an_angle_is_in_degrees_and_the_scale_leaves_it_alone():
    lean = np.radians(30.0)
    wedge = Face("wedge", (30.0, 0.0, 5.0), (float(np.sin(lean)), 0.0, float(np.cos(lean))), (10.0, 10.0))
    part = PartPlan((), (Face("top", (20.0, 0.0, 4.0), (0.0, 0.0, 1.0), (20.0, 10.0)), wedge))
    [found] = sizes_of(part, row("wedge", "angle", 30.0), scale=1.01, coat=0.1)
    assert found.measured_mm == pytest.approx(30.0, abs=1e-6)
    [supplement] = sizes_of(part, row("wedge", "angle", 150.0))
    assert supplement.measured_mm == pytest.approx(150.0, abs=1e-6)


def test_the_sides_of_a_taper_need_not_meet():
    lean = np.radians(3.8)
    sides = [
        Face(f"side {s}", (0.0, 12.0 * s, 0.0), (float(np.sin(lean)), float(s * np.cos(lean)), 0.0), (40.0, 8.0))
        for s in (-1, 1)
    ]
    [found] = sizes_of(PartPlan((), tuple(sides)), row("flanks", "angle", 7.6))
    assert found.measured_mm == pytest.approx(7.6, abs=1e-6)


def test_an_overall_size_between_two_bores_is_the_extent_along_their_line_or_not_found():
    aligned = (Hole("pivot", -20.0, 0.0, 10.0), Hole("pin", 40.0, 0.0, 6.0))
    rows = [*bore_rows(aligned), *distance_rows(aligned, [("pivot", "pin")])]
    along = row("over ends", "overall", 84.0, between=["pivot", "pin"])
    found = sizes_of(PartPlan(aligned, BODY, (84.0, 28.0, 8.0)), *rows, along)[-1]
    assert (found.measured_mm, found.walls) == (pytest.approx(84.0, abs=EXACT_MM), 2)
    askew = (aligned[0], Hole("pin", 40.0, 6.0, 6.0))  # 5.7 degrees off the length
    rows = [*bore_rows(askew), *distance_rows(askew, [("pivot", "pin")])]
    lost = sizes_of(PartPlan(askew, BODY, (84.0, 28.0, 8.0)), *rows, along)[-1]
    assert lost.measured_mm is None
    assert "not found" in lost.reason


def test_a_thickness_needs_its_faces_opposite_each_other():
    here = Face("here", (0.0, 0.0, 4.0), (0.0, 0.0, 1.0), (10.0, 10.0))
    elsewhere = Face("elsewhere", (30.0, 0.0, -4.0), (0.0, 0.0, -1.0), (10.0, 10.0))
    [found] = sizes_of(PartPlan((), (here, elsewhere)), row("body", "thickness", 8.0))
    assert found.measured_mm is None
    opposite = Face("opposite", (6.0, 0.0, -4.0), (0.0, 0.0, -1.0), (10.0, 10.0))
    [found] = sizes_of(PartPlan((), (here, opposite)), row("body", "thickness", 8.0))
    assert found.measured_mm == pytest.approx(8.0, abs=EXACT_MM)
    # 4 mm by 10 mm overlap: more than jaws rest on.
    assert found.seen_share == 1.0


def test_a_gap_between_faces_that_look_at_each_other_is_no_thickness():
    left = Face("left", (-4.0, 0.0, 0.0), (1.0, 0.0, 0.0), (10.0, 10.0))
    right = Face("right", (4.0, 0.0, 0.0), (-1.0, 0.0, 0.0), (10.0, 10.0))
    [found] = sizes_of(PartPlan((), (left, right)), row("slot", "thickness", 8.0))
    assert found.measured_mm is None


def test_a_bore_gauged_with_a_pin_is_as_large_as_the_pin_that_enters():
    [by_jaws] = sizes_of(LEVER, row("pivot", "bore", 10.0, gauged="inside jaws"))
    [by_pin] = sizes_of(LEVER, row("pivot", "bore", 10.0, gauged="pin"))
    # The hand-made bores let a pin 0.02 smaller enter.
    assert by_jaws.measured_mm - by_pin.measured_mm == pytest.approx(0.02, abs=EXACT_MM)


def test_uncertainties_add_as_squares():
    """JCGM 100:2008, 5.1.2: of two faces (0.01 / sqrt 2 each) and of two axes (the same), 0.01 together."""
    rows = [*bore_rows(HOLES[:2]), *distance_rows(HOLES, [("pivot", "pin")]), row("body", "thickness", 8.0)]
    *_, centres, body = sizes_of(LEVER, *rows)
    # The tilts of the hand-made faces (1e-5 rad over 20 mm) add 0.0002 mm; the axes have no lever at equal depth.
    assert centres.u_mm == pytest.approx(0.01, abs=1e-6)
    assert body.u_mm == pytest.approx(0.01, abs=1e-5)
