import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import extent_along, find_features

from .parts import NOISE_A, along_part, found, on_part, scanned_again, solid_of


def _sizes(features):
    return {e.name: e.length_mm for e in features.extents}


def test_a_link_is_as_long_as_its_round_ends_and_not_as_its_farthest_points():
    features, scanned = found("link")
    assert _sizes(features)["length"] == pytest.approx(55.0, abs=0.02)
    assert np.ptp(on_part(scanned.vertices_mm, scanned)[:, 0]) > 55.08


@pytest.mark.long
def test_the_length_over_round_ends_has_no_bias():
    """Mean of ten scans; each is known to 0.004 in white scatter of 0.05, the farthest points read 0.3 long."""
    off = [_sizes(scanned_again(seed, "white")[0])["length"] - 55.0 for seed in range(10)]
    assert np.mean(off) == pytest.approx(0.0, abs=0.005)


def test_a_tapered_lever_is_measured_along_the_line_of_its_bores():
    features, scanned = found("lever", spacing_mm=0.5)
    truth = scanned and sim.latch_lever().truth
    for extent in features.extents:
        assert extent.length_mm == pytest.approx(truth[extent.name], abs=max(0.02, 4.0 * extent.u_length_mm))
    assert abs(along_part(features.extents[0].direction, scanned)[0]) > np.cos(np.radians(0.1))


def test_a_clip_s_box_is_that_of_its_flats():
    features, scanned = found("clip", spacing_mm=0.4)
    assert _sizes(features) == pytest.approx({"length": 46.0, "width": 24.0, "height": 21.0}, abs=0.02)
    ends = on_part(features.extents[0].ends_mm, scanned)
    assert sorted(ends[:, 0]) == pytest.approx([-23.0, 23.0], abs=0.02)


def test_a_pin_on_a_bar_counts_in_its_height():
    features, _ = found("armrest", spacing_mm=0.8)
    assert _sizes(features)["height"] == pytest.approx(27.0, abs=0.03)
    assert _sizes(features)["length"] == pytest.approx(187.0, abs=0.04)
    assert _sizes(features)["width"] == pytest.approx(42.0, abs=0.05)


def test_an_extent_is_taken_along_any_line_the_sheet_names():
    features, _ = found("link")
    line = features.bores[1].axis_point_mm - features.bores[0].axis_point_mm
    extent = extent_along(features, line)
    assert extent.length_mm == pytest.approx(55.0, abs=0.02)
    assert extent.direction == pytest.approx(line / np.linalg.norm(line), abs=1e-12)
    assert extent.u_length_mm < 0.012


@pytest.mark.parametrize("across", [(50.0, 30.0, 0.0), (50.0, 0.0, 20.0), (1.0, 0.05, 0.0)])
def test_a_foot_on_a_rounded_edge_is_as_unsure_as_the_rounding_leaves_it(across):
    """Edges rounded over 0.25 mm take up to 0.2 mm off a size from edge to edge; the sharp part may be that longer."""
    features, scanned = found("block")
    way = np.array(across) / np.linalg.norm(across)
    extent = extent_along(features, scanned.turn @ way)
    assert extent.length_mm == pytest.approx(np.abs(way) @ [50.0, 30.0, 20.0], abs=2.2 * extent.u_length_mm)
    assert extent.u_length_mm < 0.25


def test_a_speck_s_height_of_scatter_does_not_lift_the_foot():
    scanned = sim.scan(sim.fence_clip(), spacing_mm=0.5, seed=4, **NOISE_A)
    top = int(np.argmax(on_part(scanned.vertices_mm, scanned)[:, 2]))
    scanned.vertices_mm[top] += 0.4 * scanned.turn[:, 2]
    assert _sizes(find_features(solid_of(scanned)))["height"] == pytest.approx(21.0, abs=0.03)


@pytest.mark.parametrize("seed", [45, 47])
def test_a_narrow_lever_whose_flanks_hardly_lean_is_as_wide_as_its_round_end(seed):
    """Drawn by hand: round ends of 11.5 and 10.15 mm, 96 mm apart; the foot meets each flank at its high end."""

    def distance(p):
        return sim.intersect(sim.tapered_bar(p, (0, 0), (96, 0), 11.5, 10.15), sim.slab(p[:, 2], 0.0, 4.8))

    shape = sim.Shape("drag_link", distance, (-13, -13, -1), (108, 13, 6))
    features = find_features(solid_of(sim.scan(shape, spacing_mm=0.9, seed=seed, **NOISE_A)))
    width = next(e for e in features.extents if e.name == "width")
    assert width.length_mm == pytest.approx(23.0, abs=4.0 * width.u_length_mm)
    assert width.u_length_mm < 0.05


@pytest.mark.parametrize(("seed", "smoothing_mm"), [(61, 0.3), (62, 0.5)])
def test_a_round_end_that_is_flattened_at_its_crest_is_as_long_as_it_is(seed, smoothing_mm):
    """The round end meets a face square to the lever without an edge: 0.1 mm under the crest of the cylinder."""

    def distance(p):
        bar = sim.intersect(sim.tapered_bar(p, (0, 0), (60, 0), 11.0, 11.0), sim.slab(p[:, 2], 0.0, 8.0))
        less = np.abs(bar + 11.0 + p[:, 0])
        smooth = np.maximum(smoothing_mm - less, 0.0) ** 2 / (4.0 * smoothing_mm)
        bar = np.maximum(bar, -11.0 - p[:, 0]) + smooth
        return sim.cut(bar, sim.bore(p, (60, 0), 8.0))

    shape = sim.Shape("bell_crank", distance, (-13, -13, -1), (73, 13, 9))
    features = find_features(solid_of(sim.scan(shape, spacing_mm=0.5, seed=seed, **NOISE_A)))
    x = np.linspace(-11.0, -10.5, 5001)
    inside = distance(np.column_stack([x, np.zeros_like(x), np.full_like(x, 4.0)])) < 0.0
    assert x[inside][0] > -10.93
    length = next(e for e in features.extents if e.name == "length")
    # Within 0.04 over 16 seeds; it was 0.11 to 0.13 with 0.008 stated.
    assert length.length_mm == pytest.approx(71.0 - x[inside][0], abs=0.05)


@pytest.mark.parametrize("draft_deg", [1.0, 2.0])
def test_walls_with_draft_are_measured_where_they_stand_out_and_turn_the_box(draft_deg):
    """A moulded plate of 54 x 27 mm at its foot, corners rounded to 4 mm; two holes off its middle turn nothing."""
    lean = np.tan(np.radians(draft_deg))

    def distance(p):
        away = np.abs(p[:, :2]) - np.array([23.0, 9.5])
        outline = np.hypot(*np.maximum(away, 0.0).T) + np.minimum(away.max(axis=1), 0.0) - 4.0
        walls = (outline + p[:, 2] * lean) * np.cos(np.radians(draft_deg))
        holes = [sim.bore(p, place, 6.0) for place in ((-15.0, 1.0), (10.0, -1.0))]
        return sim.cut(sim.cut(sim.intersect(walls, sim.slab(p[:, 2], 0.0, 7.0)), holes[0]), holes[1])

    shape = sim.Shape("drafted", distance, (-28, -15, -1), (28, 15, 8))
    features = find_features(solid_of(sim.scan(shape, spacing_mm=0.6, seed=91, **NOISE_A)))
    sizes = {e.name: e for e in features.extents}
    for name, true_mm in (("length", 54.0), ("width", 27.0)):
        assert sizes[name].length_mm == pytest.approx(true_mm, abs=4.0 * sizes[name].u_length_mm)
        assert sizes[name].u_length_mm < 0.05  # a tenth of the spacing: the flats say where the edge is


def test_the_crest_of_a_narrow_rib_is_no_better_known_than_its_rows_of_points_lie():
    """Over two rows 0.6 mm apart an arc of 1.5 mm radius rises by 0.6^2 / 12 = 0.03 mm; where they lie is chance."""
    features, scanned = found("rib", spacing_mm=0.6)
    height = extent_along(features, scanned.turn @ np.array([0.0, 0.0, 1.0]))
    assert height.length_mm == pytest.approx(10.0, abs=2.0 * height.u_length_mm)
    assert 0.025 < height.u_length_mm < 0.05
