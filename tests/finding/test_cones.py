"""Countersinks, counterbores and tapers on simulated parts: what is one, what is none, and how large it is."""

from functools import cache

import numpy as np
import pytest

from inbox_demo import simulated as sim
from tests.mending.faults import scan_of
from verifier.finding import find_features
from verifier.measuring.sunk import mouth_walls
from verifier.mending import mend
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

from .parts import NOISE_A, along_part, on_part, solid_of
from .sunk_parts import bearing_foot, hinge_leaf, hitch_post


@cache
def leaf():
    scanned = sim.scan(hinge_leaf(), spacing_mm=0.5, seed=21, **NOISE_A)
    return find_features(solid_of(scanned)), scanned


@cache
def foot():
    scanned = sim.scan(bearing_foot(), spacing_mm=0.5, seed=22, **NOISE_A)
    return find_features(solid_of(scanned)), scanned


def test_a_countersink_is_found_with_its_mouth_angle_axis_and_bore():
    features, scanned = leaf()
    (sink,) = features.cones
    bore = next(c for c in features.bores if c.name == sink.bore)
    assert (sink.name, sink.kind) == ("countersink 1", "countersink")
    # Four standard uncertainties hold in 15 999 of 16 000 draws; they are stated under a twentieth of a millimetre.
    assert sink.mouth_diameter_mm == pytest.approx(10.0, abs=4.0 * sink.u_mouth_diameter_mm)
    assert sink.angle_deg == pytest.approx(90.0, abs=4.0 * sink.u_angle_deg)
    assert sink.u_mouth_diameter_mm < 0.05
    assert on_part(sink.mouth_mm, scanned) == pytest.approx([-15.0, 0.0, 8.0], abs=0.05)  # what a bore's axis is off by
    assert along_part(sink.axis, scanned)[2] > np.cos(np.radians(1.0))
    assert on_part(bore.axis_point_mm, scanned)[0] == pytest.approx(-15.0, abs=0.05)
    assert (sink.arc_deg, round(sink.depth_mm)) == (360.0, 1)


def test_a_coat_makes_the_mouth_smaller_by_what_its_walls_say():
    """Drawn by hand: coat t, 90 degrees: each side by t (1 - sin 45) / cos 45, the mouth by 0.8284 t."""
    assert mouth_walls(90.0) == pytest.approx(-0.828427, abs=1e-6)
    assert (mouth_walls(0.0), mouth_walls(180.0)) == (pytest.approx(-2.0), pytest.approx(0.0, abs=1e-12))
    half = np.radians(41.0)
    # The coated side is the same cone with its apex 0.3 / sin h higher up, the face lies 0.3 higher.
    mouth = 2.0 * (0.3 - 0.3 / np.sin(half)) * np.tan(half)
    assert mouth_walls(82.0) * 0.3 == pytest.approx(mouth, abs=1e-12)


def test_a_rounded_mouth_is_no_countersink_and_a_cone_off_the_bore_s_axis_is_told_as_one_of_its_own():
    scanned = sim.scan(hinge_leaf(round_mm=3.0, off_axis_mm=0.9), spacing_mm=0.5, seed=23, **NOISE_A)
    features = find_features(solid_of(scanned))
    (cone,) = features.cones
    assert (cone.kind, cone.bore) == ("inner cone", "")
    assert on_part(cone.mouth_mm, scanned) == pytest.approx([-14.1, 0.0, 8.0], abs=0.06)
    assert len(features.bores) == 2


def test_rounded_edges_and_round_ends_are_no_cones():
    scanned = sim.scan(sim.latch_lever(), spacing_mm=0.8, seed=24, **NOISE_A)
    assert find_features(solid_of(scanned)).cones == ()


def test_a_tapered_post_is_a_cone_and_never_a_stack_of_bosses():
    scanned = sim.scan(hitch_post(5.0), spacing_mm=0.6, seed=25, **NOISE_A)
    features = find_features(solid_of(scanned))
    (cone,) = features.cones
    assert (cone.kind, features.bosses) == ("outer cone", ())
    assert cone.angle_deg == pytest.approx(10.0, abs=4.0 * cone.u_angle_deg)
    assert any("tapers by 5.0 degrees to each side; it is not called a boss" in notice for notice in features.notices)


def test_a_post_with_two_degrees_of_draft_is_one_boss_with_its_mean_diameter():
    scanned = sim.scan(hitch_post(2.0), spacing_mm=0.6, seed=26, **NOISE_A)
    features = find_features(solid_of(scanned))
    (boss,) = features.bosses
    height = on_part(boss.axis_point_mm, scanned)[2]
    assert boss.diameter_mm == pytest.approx(12.0 + 2.0 * (18.0 - height) * np.tan(np.radians(2.0)), abs=0.03)
    assert boss.depth_mm > 8.0
    assert features.cones == ()


def test_a_counterbore_has_its_floor_its_wide_bore_and_its_depth():
    features, scanned = foot()
    (sunk,) = features.counterbores
    wide, bore = (next(c for c in features.bores if c.name == name) for name in (sunk.wide, sunk.bore))
    assert sunk.depth_mm == pytest.approx(4.0, abs=4.0 * sunk.u_depth_mm)
    assert sunk.u_depth_mm < 0.02
    assert sunk.diameter_mm == pytest.approx(11.0, abs=4.0 * sunk.u_diameter_mm)
    assert (wide.diameter_mm > 10.0, bore.diameter_mm < 7.0) == (True, True)
    assert on_part(sunk.floor_mm, scanned) == pytest.approx([-10.0, 0.0, 12.0], abs=0.03)
    assert along_part(sunk.axis, scanned)[2] > 0.999
    assert features.cones == ()


def test_an_export_turned_inside_out_has_the_same_countersink():
    features, scanned = leaf()
    turned = mend(scan_of(Mesh(scanned.vertices_mm, scanned.faces[:, ::-1])))
    (sink,), (was,) = find_features(turned).cones, features.cones
    assert (sink.name, sink.bore, sink.face) == (was.name, was.bore, was.face)
    # The corners come in another order: places drawn from them differ, and a fit by a thousandth.
    assert sink.mouth_diameter_mm == pytest.approx(was.mouth_diameter_mm, abs=0.003)


def test_turning_and_scaling_the_part_turns_and_scales_its_countersink():
    features, scanned = leaf()
    moved = Mesh(1.01 * scanned.vertices_mm @ sim.rotation(5).T + [100.0, 5.0, -40.0], scanned.faces)
    (sink,), (was,) = find_features(Solid(moved, solid_of(scanned).origin)).cones, features.cones
    # Trims are lengths of the scanner, and take in other points at the rim.
    assert sink.mouth_diameter_mm / 1.01 == pytest.approx(was.mouth_diameter_mm, abs=0.01)
    assert sink.angle_deg == pytest.approx(was.angle_deg, abs=0.3)


def test_an_exact_net_drawn_on_corners_has_the_exact_countersink():
    """A ring of 96 corners a circle, drawn by hand: no scatter, long facets up the side."""
    mesh = _drawn_leaf(96)
    features = find_features(Solid(mesh, np.zeros(len(mesh.faces), np.uint8)))
    (sink,) = [cone for cone in features.cones if cone.kind == "countersink"]
    assert sink.angle_deg == pytest.approx(90.0, abs=0.1)
    assert sink.mouth_diameter_mm == pytest.approx(12.0, abs=0.003)  # half the height of the arc over a facet
    assert 0.001 < sink.u_mouth_diameter_mm < 0.005  # whether corners or facets lie on it, nobody knows


def _drawn_leaf(sides):
    """A disc 30 across and 8 thick with a bore of 6 that opens at 90 degrees to 12, its corners on the circles."""
    turn = 2.0 * np.pi * np.arange(sides) / sides
    rings = [(15.0, 0.0), (15.0, 8.0), (6.0, 8.0), (3.0, 5.0), (3.0, 0.0)]
    points = np.concatenate([np.column_stack([r * np.cos(turn), r * np.sin(turn), 0 * turn + z]) for r, z in rings])
    faces = []
    for k in range(len(rings)):
        a, b = k * sides + np.arange(sides), (k + 1) % len(rings) * sides + np.arange(sides)
        faces += [np.column_stack([a, np.roll(a, -1), b]), np.column_stack([np.roll(a, -1), np.roll(b, -1), b])]
    return Mesh(points, np.concatenate(faces).astype(np.int64))
