"""What is worth measuring on a part that has no sheet."""

from dataclasses import replace

import numpy as np

from verifier.finding.patterns import find_rectangles
from verifier.measuring import measure, propose_rows
from verifier.rulebook import draft_sheet_text

from .parts import RULES, Hole, PartPlan, box_faces, row, scan, sheet
from .test_slots import slot

HOLES = (
    Hole("left", -75, 0, 8.5),
    Hole("right", 75, 0, 8.4),
    Hole("peg", 0, 0, 12, "boss"),
    Hole("peg bore", 0, 0, 4),
)
ARMREST = PartPlan(HOLES, box_faces(187, 42, 18), (187, 42, 27))


def armrest(part=ARMREST):
    return scan(part, np.random.default_rng(1), noisy=False).features


def test_the_longest_overall_size_comes_first_and_no_name_twice():
    rows = propose_rows(armrest())
    assert (rows[0].kind, rows[0].along, rows[0].measured_mm) == ("overall", "length", 187.0)
    assert len({r.name for r in rows}) == len(rows) <= 15


def test_bores_and_bosses_are_named_by_where_they_are():
    names = {r.name: r for r in propose_rows(armrest())}
    assert {"bore 1, one end", "bore 2, other end", "bore 3, middle", "boss 1, middle"} <= set(names)
    assert names["bore 1, one end"].measured_mm == 8.5


def test_the_long_end_is_the_one_farther_from_the_largest_bore():
    holes = (Hole("pivot", -20, 0, 12), Hole("far", 40, 3, 6), Hole("near", -32, 0, 4))
    rows = propose_rows(armrest(PartPlan(holes, box_faces(100, 30, 8), (100, 30, 8))))
    assert {"bore 1, short end", "bore 2, long end", "bore 3, short end"} <= {r.name for r in rows}


def test_the_first_four_rows_tell_scale_from_powder():
    rows = propose_rows(armrest())[:4]
    assert [r.kind for r in rows] == ["overall", "bore", "thickness", "centre distance"]
    assert all(r.worth for r in rows)


def test_bores_on_one_circle_are_proposed_with_their_pitch_circle():
    ring = tuple(Hole(f"{k}", 22 * np.cos(k * np.pi / 2), 22 * np.sin(k * np.pi / 2), 5.5) for k in range(4))
    rows = propose_rows(armrest(PartPlan((*ring, Hole("middle", 0, 0, 20)), box_faces(60, 60, 8), (60, 60, 8))))
    (circle,) = [r for r in rows if r.kind == "pitch circle"]
    assert circle.measured_mm == 44.0
    assert set(circle.through) <= {r.name for r in rows}


def test_a_slot_is_proposed_with_its_width_and_its_length():
    features = replace(armrest(), slots=(slot("slot 1", 6.0, 22.0),))
    found = {r.kind: (r.name, r.measured_mm) for r in propose_rows(features) if r.kind.startswith("slot")}
    assert found == {"slot width": ("slot 1 width, middle", 6.0), "slot length": ("slot 1 length, middle", 22.0)}


def test_the_bore_through_a_boss_gives_no_distance_of_its_own():
    distances = [r for r in propose_rows(armrest()) if r.kind == "centre distance"]
    assert [round(r.measured_mm) for r in distances] == [150, 75, 75]
    assert all(r.between is not None for r in distances)


def test_a_thickness_that_is_an_overall_size_is_not_asked_for_twice():
    thicknesses = [r for r in propose_rows(armrest()) if r.kind == "thickness"]
    # 187 and 42 are overall sizes already; 18 is not, for the part stands 27 high.
    assert [round(r.measured_mm, 6) for r in thicknesses] == [18.0]


def test_forty_bores_still_give_a_page_that_can_be_measured():
    holes = tuple(Hole(f"h{i}", 10 * (i % 8), 10 * (i // 8), 3 + 0.1 * i) for i in range(40))
    assert len(propose_rows(armrest(PartPlan(holes, box_faces(90, 60, 5), (90, 60, 5))))) <= 15


def test_a_scan_of_nothing_proposes_nothing():
    features = armrest()
    assert propose_rows(replace(features, planes=(), cylinders=(), extents=())) == ()


def test_the_drafted_sheet_filled_in_measures_what_it_proposed():
    features = armrest()
    proposed = propose_rows(features)
    assert draft_sheet_text("seat_armrest", proposed).count("[[size]]") == len(proposed)
    rows = [
        row(p.name, p.kind, round(p.measured_mm, 2), between=p.between, of=p.of, along=p.along, through=p.through)
        for p in proposed
    ]
    for size, asked in zip(measure(features, sheet(*rows), RULES), proposed, strict=True):
        # Rounded to the display's step of 0.01; equal places may show their worst, which differs by no more.
        assert size.measured_mm is not None, size
        assert abs(size.measured_mm - asked.measured_mm) < 0.02


def test_four_bores_at_the_corners_of_a_rectangle_are_drafted_by_their_two_pitches_and_a_square_by_its_circle():
    for side, kinds in ((24.0, ["centre distance", "centre distance"]), (40.0, ["pitch circle"])):
        spots = ((0.0, 0.0), (40.0, 0.0), (40.0, side), (0.0, side))
        holes = tuple(Hole(f"bolt {k}", x, y, 5.5) for k, (x, y) in enumerate(spots))
        features = scan(PartPlan(holes), np.random.default_rng(2), noisy=False).features
        rows = propose_rows(replace(features, rectangles=find_rectangles(features.cylinders)))
        between = [row for row in rows if row.kind in ("centre distance", "pitch circle")]
        assert [row.kind for row in between if row.kind != "centre distance" or "pitch" in row.name] == kinds
        if side == 24.0:
            assert [(row.name, round(row.measured_mm)) for row in between] == [
                ("rectangle 1, long pitch", 40),
                ("rectangle 1, short pitch", 24),
            ]
