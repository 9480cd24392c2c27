import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features
from verifier.mending import mend
from verifier.mending.draft import Draft
from verifier.mending.holes import fill_holes
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Mesh, drop_unused_vertices
from verifier.reading.scan import LengthUnit, Scan, Source

from .parts import NOISE_A, along_part, centre_distance_mm, found, link, on_part, plate, solid_of


def test_a_link_has_its_two_bores_and_no_boss_for_its_round_ends():
    features, scanned = found("link")
    assert [b.name for b in features.bores] == ["bore 1", "bore 2"]
    assert features.bosses == ()
    for bore, truth in zip(features.bores, (6.0, 3.0), strict=True):
        assert bore.diameter_mm == pytest.approx(truth, abs=4.0 * bore.u_diameter_mm)
        assert bore.u_diameter_mm < 0.02
        assert bore.arc_deg > 355.0
        assert bore.through
        assert bore.axis_held == "own"
        assert abs(along_part(bore.axis, scanned)[2]) > np.cos(4.0 * bore.u_axis_rad)


def test_the_centre_distance_is_true_to_its_uncertainty():
    features, _ = found("link")
    distance, u = centre_distance_mm(*features.bores)
    assert distance == pytest.approx(42.0, abs=4.0 * u)
    assert u < 0.015


def test_the_stated_uncertainty_of_a_bore_knows_of_shared_scatter():
    """Sigma over root n would say 0.0006 here, and be ten times too sure."""
    features, _ = found("link")
    bore = features.bores[0]
    assert bore.u_diameter_mm >= 0.007
    assert 2.0 * bore.rms_mm / np.sqrt(bore.point_count) < 0.2 * bore.u_diameter_mm


def test_a_hub_is_a_boss_and_stands_apart_from_its_bore():
    features, scanned = found("lever", spacing_mm=0.5)
    (hub,) = features.bosses
    assert hub.name == "boss 1"
    assert hub.diameter_mm == pytest.approx(22.0, abs=4.0 * hub.u_diameter_mm)
    assert hub.arc_deg > 355.0
    assert not hub.through
    assert on_part(hub.axis_point_mm, scanned)[:2] == pytest.approx([0.0, 0.0], abs=4.0 * hub.u_position_mm)
    assert [round(b.diameter_mm) for b in features.bores] == [10, 6]


def test_a_counterbore_is_a_bore_of_its_own_and_a_slot_is_none():
    features, scanned = found("block")
    diameters = [b.diameter_mm for b in features.bores]
    assert diameters == pytest.approx([11.0, 6.0, 5.0], abs=0.04)  # four uncertainties
    places = [on_part(b.axis_point_mm, scanned)[:2] for b in features.bores]
    assert places[0] == pytest.approx([-12.0, 0.0], abs=0.04)
    assert places[1] == pytest.approx([-12.0, 0.0], abs=0.04)
    assert places[2] == pytest.approx([12.0, 0.0], abs=0.04)


def test_a_blind_bore_is_not_through():
    features, _ = found("block")
    assert [b.through for b in features.bores] == [True, True, False]


def test_a_bent_strip_has_exactly_its_two_bores():
    features, scanned = found("bent strip", spacing_mm=0.8)
    assert [c.kind for c in features.cylinders] == ["bore", "bore"]
    assert [c.diameter_mm for c in features.cylinders] == pytest.approx([8.0, 6.0], abs=0.05)
    # No plane is square to them: their direction is their own.
    for bore in features.bores:
        assert abs(along_part(bore.axis, scanned)[2]) == pytest.approx(1.0, abs=1e-4)


def test_two_mouths_of_one_bore_are_one_bore_seen_deep():
    features, scanned = found("plate", spacing_mm=0.25)
    (bore,) = features.bores
    assert bore.diameter_mm == pytest.approx(3.0, abs=4.0 * bore.u_diameter_mm)
    assert not bore.through  # what was scanned closes between the mouths, and would print so
    assert on_part(bore.axis_point_mm, scanned) == pytest.approx([2.0, 1.0, 4.5], abs=0.2)
    assert 2.0 < bore.depth_mm + 1.6 < 4.5  # twice 2 mm, less rounding and trimming
    assert np.degrees(np.arccos(min(1.0, abs(along_part(bore.axis, scanned)[2])))) < 0.5


def test_one_mouth_alone_is_held_square_to_its_face():
    features, scanned = found("upper mouth", spacing_mm=0.25)
    (bore,) = features.bores
    assert bore.axis_held.startswith("plane ")
    held = next(p for p in features.planes if p.name == bore.axis_held)
    assert abs(held.normal @ bore.axis) == pytest.approx(1.0, abs=1e-12)
    assert np.degrees(np.arccos(min(1.0, abs(along_part(bore.axis, scanned)[2])))) < 0.5
    assert not bore.through
    assert bore.diameter_mm == pytest.approx(3.0, abs=4.0 * bore.u_diameter_mm)


def test_an_oval_bore_takes_a_pin_of_its_narrow_side_and_keeps_its_mean():
    """Oval by 0.2 between its widest and its narrowest diameter, two mouths of 2 mm; mean of two scans."""
    bores = [found("oval plate", spacing_mm=0.3, seed=seed)[0].bores[0] for seed in range(2)]
    # Each scan knows the diameter to 0.015, so their mean to 0.011.
    assert np.mean([b.diameter_mm for b in bores]) == pytest.approx(3.0, abs=0.03)
    assert np.mean([b.pin_diameter_mm for b in bores]) == pytest.approx(2.9, abs=0.03)
    assert np.mean([b.form_error_mm for b in bores]) == pytest.approx(0.1, abs=0.03)  # of the radius


def test_a_bore_seen_over_240_degrees_is_told_of_and_not_called_a_bore():
    scanned = sim.scan(link(), spacing_mm=0.35, seed=8, **NOISE_A)
    middles = on_part(scanned.vertices_mm[scanned.faces].mean(axis=1), scanned)
    angle = np.degrees(np.arctan2(middles[:, 1], middles[:, 0]))
    unseen = (np.hypot(middles[:, 0], middles[:, 1]) < 3.3) & (np.abs(angle) < 60.0)
    solid = solid_of(scanned)
    solid.origin[unseen] = Origin.FILLED
    features = find_features(solid)
    assert [round(b.diameter_mm) for b in features.bores] == [3]
    assert any("about 6.0 mm was seen over 2" in notice for notice in features.notices)


def test_filled_faces_never_feed_a_bore():
    scanned = sim.scan(plate(), spacing_mm=0.25, seed=5, **NOISE_A)
    solid = solid_of(scanned)
    middles = on_part(scanned.vertices_mm[scanned.faces].mean(axis=1), scanned)
    invented = (
        (np.hypot(middles[:, 0] - 2.0, middles[:, 1] - 1.0) < 1.8) & (middles[:, 2] < 4.5) & (middles[:, 2] > 0.3)
    )
    solid.origin[invented] = Origin.FILLED
    (bore,) = find_features(solid).bores
    assert (solid.origin[bore.faces] == Origin.MEASURED).all()
    assert on_part(bore.axis_point_mm, scanned)[2] > 6.5  # the upper mouth alone


def _mended(scanned, faces):
    scan = Scan(Mesh(scanned.vertices_mm, faces), LengthUnit("mm", 1.0, "file"), Source("link.stl", "0" * 64, 0, "stl"))
    return mend(scan)


def test_a_bore_whose_middle_was_filled_is_one_bore_and_through():
    scanned = sim.scan(link(), spacing_mm=0.35, seed=4, **NOISE_A)
    solid = _mended(scanned, sim.without_bore_wall(scanned, (0.0, 0.0), 3.2, (2.5, 5.5)))
    assert solid.filled_share > 0.01
    large = find_features(solid).bores[0]
    assert large.diameter_mm == pytest.approx(6.0, abs=4.0 * large.u_diameter_mm)
    assert large.through
    assert large.depth_mm < 5.0
    assert (solid.origin[large.faces] == Origin.MEASURED).all()


def test_a_bore_filled_shut_a_little_below_its_mouth_is_not_through():
    scanned = sim.scan(link(), spacing_mm=0.35, seed=4, **NOISE_A)
    open_above = sim.without_bore_wall(scanned, (0.0, 0.0), 3.2, (2.5, 5.5))
    part = on_part(scanned.vertices_mm[open_above].mean(axis=1), scanned)
    stump = (np.hypot(part[:, 0], part[:, 1]) < 4.0) & (part[:, 2] < 2.6)  # the lower mouth was not seen either
    faces = open_above[~stump]
    open_surface = Draft(Mesh(scanned.vertices_mm, faces), np.full(len(faces), Origin.MEASURED, dtype=np.uint8))
    lids = fill_holes(open_surface)  # over the wall's end and over the mouth, where mending would lead the bore on
    solid = Solid(drop_unused_vertices(lids.mesh), lids.origin)
    large = find_features(solid).bores[0]
    assert large.diameter_mm == pytest.approx(6.0, abs=4.0 * large.u_diameter_mm)
    assert not large.through


def test_a_bore_that_mending_led_on_to_its_unseen_mouth_is_through():
    scanned = sim.scan(link(), spacing_mm=0.35, seed=4, **NOISE_A)
    open_above = sim.without_bore_wall(scanned, (0.0, 0.0), 3.2, (2.5, 5.5))
    part = on_part(scanned.vertices_mm[open_above].mean(axis=1), scanned)
    stump = (np.hypot(part[:, 0], part[:, 1]) < 4.0) & (part[:, 2] < 2.6)
    large = find_features(_mended(scanned, open_above[~stump])).bores[0]
    assert large.diameter_mm == pytest.approx(6.0, abs=4.0 * large.u_diameter_mm)
    assert large.through
