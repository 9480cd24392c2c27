"""How rows find their features when something is wrong with the sheet or the scan."""

import time
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from verifier.finding.feature import Features
from verifier.measuring import measure
from verifier.measuring.flats import flat_faces

from .parts import NOISE, RULES, Face, Hole, PartPlan, bore_rows, box_faces, distance_rows, row, scan, sheet

LEVER_HOLES = (Hole("pivot", 0, 0, 10), Hole("pin", 42, 0, 6))
LEVER = PartPlan(LEVER_HOLES, box_faces(60, 20, 8), (60, 20, 8))
LEVER_ROWS = (
    row("length", "overall", 60.0, along="length"),
    *bore_rows(LEVER_HOLES),
    *distance_rows(LEVER_HOLES, [("pivot", "pin")]),
    row("body", "thickness", 8.0),
)
# Six of the hand-made scan's standard uncertainties of 0.01 mm.
SCAN_MM = 0.06


def by_name(features, *rows):
    return {size.name: size for size in measure(features, sheet(*rows), RULES)}


def plate_of_four(*diameters):
    """A square plate with a bore at each corner, all rows read as 4.5."""
    spots = [(0, 0), (30, 0), (30, 30), (0, 30)]
    holes = [Hole("abcd"[i], *spots[i], d) for i, d in enumerate(diameters)]
    rows = bore_rows([replace(h, diameter=4.5) for h in holes])
    return holes, [*rows, *distance_rows(holes, [("a", "b"), ("b", "c"), ("c", "d"), ("d", "a")])]


@pytest.mark.parametrize("index", range(len(LEVER_ROWS)))
@pytest.mark.parametrize("error", [-0.5, -0.2, 0.2, 0.5])
def test_a_misread_row_still_finds_its_feature_even_on_a_sheet_of_five(index, error):
    rows = list(LEVER_ROWS)
    rows[index] = rows[index].model_copy(update={"reading": rows[index].reading + error})
    scanned = scan(LEVER, np.random.default_rng(3), scale=1.002, coat=0.03)
    for asked, size in zip(LEVER_ROWS, measure(scanned.features, sheet(*rows), RULES), strict=True):
        assert size.measured_mm == pytest.approx(1.002 * asked.reading + size.walls * 0.03, abs=SCAN_MM)
        assert size.alternatives_mm == ()


def test_a_reading_half_a_millimetre_off_is_told_in_the_row():
    rows = [r if r.name != "body" else r.model_copy(update={"reading": 8.5}) for r in LEVER_ROWS]
    found = by_name(scan(LEVER, np.random.default_rng(3)).features, *rows)
    assert "read it again" in found["body"].reason
    assert "read it again" not in found["pin"].reason


def test_a_row_that_nothing_comes_near_is_not_found_and_the_nearest_is_named():
    found = by_name(scan(LEVER, np.random.default_rng(3)).features, *LEVER_ROWS, row("spare", "bore", 8.0))
    assert found["spare"].measured_mm is None
    assert found["spare"].reason.startswith("not found: no bore fits 8.00 mm")


def test_four_equal_bores_of_a_square_plate_are_harmless():
    holes, rows = plate_of_four(4.5, 4.5, 4.5, 4.5)
    for size in measure(scan(PartPlan(tuple(holes)), np.random.default_rng(1)).features, sheet(*rows), RULES):
        assert size.alternatives_mm == ()
        assert size.set_size == 4
        assert size.measured_mm is not None


def test_a_row_that_stands_for_a_set_shows_its_worst_member():
    holes, rows = plate_of_four(4.5, 4.5, 4.5, 4.7)
    found = by_name(scan(PartPlan(tuple(holes)), np.random.default_rng(1), noisy=False).features, *rows)
    for name in "abcd":
        assert found[name].measured_mm == pytest.approx(4.7, abs=1e-9)
        assert "worst of 4" in found[name].reason


def test_one_of_four_equal_bores_missing_leaves_all_four_undecided_and_says_so():
    holes, rows = plate_of_four(4.5, 4.5, 4.5, 4.5)
    found = measure(scan(PartPlan(tuple(holes[:3])), np.random.default_rng(1)).features, sheet(*rows), RULES)
    for size in found:
        assert size.measured_mm is None
        assert "not found" in size.reason


def test_one_row_over_two_equal_thicknesses_is_a_set_of_two():
    faces = (
        *box_faces(40, 20, 8),
        Face("low", (40, 0, -1), (0, 0, -1), (20, 20)),
        Face("up", (40, 0, 7), (0, 0, 1), (20, 20)),
    )
    [size] = measure(
        scan(PartPlan((), faces), np.random.default_rng(2)).features, sheet(row("wall", "thickness", 8.0)), RULES
    )
    assert (size.set_size, size.alternatives_mm) == (2, ())


def test_pieces_of_one_face_are_one_place_and_the_surest_of_them_is_taken():
    pieces = (Face("piece", (30, 0, 4), (0, 0, 1), (4, 4)), Face("under it", (30, 0, -4), (0, 0, -1), (4, 4)))
    features = scan(PartPlan((), (*box_faces(40, 20, 8), *pieces)), np.random.default_rng(2)).features
    small = {plane.name for plane in features.planes[-2:]}
    doubtful = tuple(replace(p, u_offset_mm=0.04) if p.name in small else p for p in features.planes)
    found = by_name(replace(features, planes=doubtful), row("wall", "thickness", 8.0))
    assert found["wall"].set_size == 1
    assert not small & set(found["wall"].features)


def test_a_step_of_a_tenth_makes_two_faces():
    faces = (*box_faces(40, 20, 8), Face("raised", (30, 0, 4.15), (0, 0, 1), (10, 10)))
    assert len(set(flat_faces(scan(PartPlan((), faces), np.random.default_rng(2)).features.planes).values())) == 7


def test_two_thicknesses_either_side_of_the_reading_are_a_tie_that_is_told():
    low = [Face("a-", (0, 0, -4), (0, 0, -1), (20, 20)), Face("a+", (0, 0, 4), (0, 0, 1), (20, 20))]
    high = [Face("b-", (40, 0, -4), (0, 0, -1), (20, 20)), Face("b+", (40, 0, 4.2), (0, 0, 1), (20, 20))]
    features = scan(PartPlan((), (*low, *high)), np.random.default_rng(2), noisy=False).features
    [size] = measure(features, sheet(row("wall", "thickness", 8.1)), RULES)
    assert sorted([size.measured_mm, *size.alternatives_mm]) == pytest.approx([8.0, 8.2], abs=1e-9)
    assert "fit equally well" in size.reason


def test_two_close_thicknesses_with_a_row_each_go_to_one_each():
    low = [Face("a-", (0, 0, -4), (0, 0, -1), (20, 20)), Face("a+", (0, 0, 4), (0, 0, 1), (20, 20))]
    high = [Face("b-", (40, 0, -4), (0, 0, -1), (20, 20)), Face("b+", (40, 0, 4.3), (0, 0, 1), (20, 20))]
    scanned = scan(PartPlan((), (*low, *high)), np.random.default_rng(2), scale=1.003, coat=0.05)
    found = by_name(scanned.features, row("thin", "thickness", 8.0), row("thick", "thickness", 8.3))
    assert found["thin"].measured_mm == pytest.approx(1.003 * 8.0 + 0.1, abs=SCAN_MM)
    assert found["thick"].measured_mm == pytest.approx(1.003 * 8.3 + 0.1, abs=SCAN_MM)


def test_a_face_pair_measured_in_two_places_serves_both_rows():
    found = by_name(
        scan(LEVER, np.random.default_rng(2)).features,
        row("at the pivot", "thickness", 8.01),
        row("at the pin", "thickness", 7.99),
    )
    assert found["at the pivot"].features == found["at the pin"].features != ()


def test_a_row_without_a_reading_is_found_by_the_distances_that_tie_it():
    holes = (Hole("pivot", 0, 0, 12), Hole("long end", -48, 6, 5), Hole("short end", 36, 8, 5.5))
    pairs = [("pivot", "long end"), ("pivot", "short end"), ("long end", "short end")]
    rows = [row("pivot", "bore"), *bore_rows(holes[1:]), *distance_rows(holes, pairs)]
    found = by_name(scan(PartPlan(holes), np.random.default_rng(1)).features, *rows)
    assert found["pivot"].measured_mm == pytest.approx(12.0, abs=SCAN_MM)


def test_a_row_with_no_reading_and_no_tie_is_not_measured_and_says_why():
    found = by_name(scan(LEVER, np.random.default_rng(1)).features, row("pin", "bore"), row("body", "thickness"))
    for size in found.values():
        assert size.measured_mm is None
        assert "neither a reading nor a nominal" in size.reason


def test_a_nominal_serves_where_there_is_no_reading():
    found = by_name(scan(LEVER, np.random.default_rng(1)).features, row("body", "thickness", nominal=8.05))
    assert found["body"].measured_mm == pytest.approx(8.0, abs=SCAN_MM)


def test_an_overall_size_needs_no_reading_for_its_direction_names_it():
    found = by_name(scan(LEVER, np.random.default_rng(1)).features, row("width", "overall", along="width"))
    assert found["width"].measured_mm == pytest.approx(20.0, abs=SCAN_MM)


def test_sides_of_nearly_equal_length_go_to_the_rows_they_fit():
    part = PartPlan((), (), (40.0, 39.98, 8.0))
    for seed in range(20):
        features = scan(part, np.random.default_rng(seed)).features
        found = by_name(features, row("a", "overall", 39.98, along="length"), row("b", "overall", 40.0, along="width"))
        assert {size.alternatives_mm for size in found.values()} == {()}
        assert found["a"].measured_mm == pytest.approx(39.99, abs=SCAN_MM)


def test_a_distance_to_a_bore_the_sheet_does_not_have_is_not_measured():
    found = by_name(
        scan(LEVER, np.random.default_rng(1)).features,
        row("body", "thickness", 8.0),
        row("lost", "centre distance", 42.0, between=["pivot", "body"]),
    )
    assert found["lost"].measured_mm is None
    assert "no bore or boss rows" in found["lost"].reason


def test_bores_that_are_not_parallel_are_no_ends_of_a_centre_distance():
    scanned = scan(LEVER, np.random.default_rng(1))
    first, second = scanned.features.cylinders
    across = replace(second, axis=np.array([0.0, 1.0, 0.0]))
    found = by_name(replace(scanned.features, cylinders=(first, across)), *LEVER_ROWS)
    assert found["pivot to pin"].measured_mm is None


def test_a_scan_without_features_leaves_every_row_not_found_with_a_reason():
    found = measure(Features((), (), (), NOISE), sheet(*LEVER_ROWS), RULES)
    assert [size.name for size in found] == [r.name for r in LEVER_ROWS]
    assert all(size.measured_mm is None and size.reason for size in found)


def test_a_sheet_without_rows_has_no_sizes():
    assert measure(scan(LEVER, np.random.default_rng(1)).features, sheet(), RULES) == ()


def crowded(same_bores):
    """30 rows, 40 bores on a grid, 60 planes: as much as a sheet and a scan are planned for."""
    rng = np.random.default_rng(7)
    sizes = [5.0] * 40 if same_bores else rng.choice([3.0, 4.0, 5.0, 6.0, 8.0], 40)
    holes = [Hole(f"bore {i}", 10.0 * (i % 8), 10.0 * (i // 8), float(sizes[i])) for i in range(40)]
    faces = list(box_faces(240, 220, 12))
    for i in range(54):
        normal = tuple((1.0 if i % 2 else -1.0) * (k == i % 3) for k in range(3))
        faces.append(Face(f"face {i}", tuple(rng.uniform(-60, 60, 3)), normal, tuple(rng.uniform(5, 80, 2))))
    named = holes[:12]
    pairs = [(named[i].name, named[i + 1].name) for i in range(10)]
    rows = [*bore_rows(named), *distance_rows(named, pairs), row("length", "overall", 240.0, along="length")]
    rows += [row(f"wall {t}", "thickness", t) for t in (12.0, 12.3, 20.0)] + [row("step", "step", 7.0)]
    rows += [row("edge", "edge distance", 120.0, of="bore 0"), row("corner", "angle", 90.0), row("free", "bore", 7.0)]
    return scan(PartPlan(tuple(holes), tuple(faces), (240, 220, 12)), rng, coat=0.05), rows, pairs


@pytest.mark.parametrize("same_bores", [True, False])
def test_a_crowded_part_is_measured_in_bounded_time(same_bores):
    scanned, rows, chain = crowded(same_bores)
    assert (len(rows), len(scanned.features.cylinders), len(scanned.features.planes)) == (30, 40, 60)
    start = time.process_time()
    found = measure(scanned.features, sheet(*rows), RULES)
    # 0.4 to 0.9 s where this was written; ten seconds would mean that the bound on what is kept has gone.
    assert time.process_time() - start < 10.0
    if same_bores:
        # Forty equal bores on a grid with one pitch: which of them the tied rows are cannot be told, and is not.
        tied = [size for size in found if any(size.name in pair for pair in chain)]
        assert len(tied) == 11
        assert all(size.measured_mm is None for size in tied)


def test_the_pose_of_a_real_scan_is_no_hindrance_to_callouts():
    turn = Rotation.random(random_state=8)
    scanned = scan(LEVER, np.random.default_rng(1), turn=turn)
    for size in measure(scanned.features, sheet(*LEVER_ROWS), RULES):
        span = float(np.linalg.norm(size.points_mm[1] - size.points_mm[0]))
        # The callout spans the size it shows (extents are drawn about the origin, so theirs too).
        assert span == pytest.approx(size.measured_mm, abs=1e-6)
