"""The least wall: found where it was drawn, in any pose and size, judged by a least size alone."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from inbox_demo import simulated as sim
from tests.benchmarks.least_wall import WEBS, one
from tests.finding.parts import NOISE_A, solid_of
from verifier.finding import find_features
from verifier.finding.thinnest import thinnest_wall
from verifier.measuring import measure, propose_rows
from verifier.mesh import Mesh

from . import shapes
from .parts import RULES, PartPlan, box_faces, row, scan, sheet

TURN = Rotation.from_euler("xyz", [0.4, -1.1, 2.0]).as_matrix()


@cache
def hollow_scan():
    return sim.scan(shapes.webbed_foot(1.4, hollow=0.01), spacing_mm=0.6, seed=41, **NOISE_A)


@cache
def features_here():
    return find_features(solid_of(hollow_scan()))


@cache
def wall_here():
    return thinnest_wall(features_here().surface, features_here().noise)


def wall_of(turn, scale=1.0):
    solid = solid_of(hollow_scan())
    features = find_features(replace(solid, mesh=Mesh(scale * solid.mesh.vertices_mm @ turn.T, solid.mesh.faces)))
    return thinnest_wall(features.surface, features.noise)


@pytest.mark.parametrize(
    ("name", "web", "truth_mm"),
    [pytest.param(*web, marks=pytest.mark.long if web[0].startswith("hollow") else ()) for web in WEBS],
)
def test_a_web_of_known_thickness_is_found_within_its_uncertainty(name, web, truth_mm):
    wall, _, _ = one(web, 8800)
    assert wall.value_mm == pytest.approx(truth_mm, abs=2.5 * wall.u_mm + 0.01)
    assert wall.u_mm < 0.1


def test_the_place_lies_on_both_sides_of_the_web_where_it_is_hollow():
    scanned, wall = hollow_scan(), wall_here()
    at = (wall.points_mm - scanned.shift_mm) @ scanned.turn
    # Three millimetres off the middle of the hollow the web is 0.09 mm thicker, three uncertainties of a foot.
    assert np.abs(at[:, 0] - 6.0).max() < 3.0
    assert np.sort(at[:, 2]) == pytest.approx([-0.7, 0.7], abs=0.1)


def test_turning_the_part_changes_nothing():
    here, turned = wall_here(), wall_of(TURN)
    # The mesh's 64-bit corners round differently; the feet stand on the same points.
    assert turned.value_mm == pytest.approx(here.value_mm, abs=1e-3)
    assert turned.u_mm == pytest.approx(here.u_mm, rel=0.05)


def test_a_part_three_hundredths_larger_has_a_wall_as_much_thicker():
    here, larger = wall_here(), wall_of(np.eye(3), 1.03)
    # The foot stays as it is, so that other points lie under it: within the scatter of one foot.
    assert larger.value_mm == pytest.approx(1.03 * here.value_mm, abs=here.u_mm)


def test_a_row_without_a_reading_is_measured_and_a_thin_wall_is_proposed():
    features = features_here()
    (size,) = measure(features, sheet(row("web", "least wall", limits=[1.2, 50.0])), RULES)
    assert size.walls == 2
    assert np.linalg.norm(np.diff(size.points_mm, axis=0)) == pytest.approx(size.measured_mm, abs=3.0 * size.u_mm)
    (proposed,) = [each for each in propose_rows(features) if each.kind == "least wall"]
    assert proposed.measured_mm == size.measured_mm


def test_without_a_scanned_surface_the_row_says_why_it_has_no_size():
    features = scan(PartPlan((), box_faces(60, 30, 8), (60, 30, 8)), np.random.default_rng(1)).features
    (size,) = measure(features, sheet(row("web", "least wall", limits=[1.2, 50.0])), RULES)
    assert size.measured_mm is None
    assert "no wall was seen from both sides" in size.reason


def test_a_guessed_round_whose_points_lie_off_its_own_fit_is_no_bore_and_stops_nothing():
    """Seed 8304: along its fitted axis none of the guessed wall's points lay on the cylinder."""
    wall, _, features = one(WEBS[0][1], 8304)
    assert wall.value_mm == pytest.approx(1.0, abs=2.5 * wall.u_mm + 0.01)
    assert features.bores == ()
