"""Balls and sockets on simulated parts: how large they are, and what is none."""

from functools import cache

import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features
from verifier.finding.fits import fit_sphere, sphere_through
from verifier.measuring import measure, propose_rows
from verifier.rulebook import Sheet, SheetRow, load_rules
from verifier.shipped import rules_folder

from .ball_parts import mirror_foot, throttle_stud
from .parts import NOISE_A, on_part, solid_of


@cache
def found_on(which: str):
    shape, seed = {"stud": (throttle_stud(), 61), "foot": (mirror_foot(), 62)}[which]
    scanned = sim.scan(shape, spacing_mm=0.5, seed=seed, **NOISE_A)
    return find_features(solid_of(scanned)), scanned


def test_a_ball_on_its_neck_is_found_in_its_place_and_size_beside_the_neck():
    features, scanned = found_on("stud")
    (ball,) = features.balls
    assert (ball.name, ball.kind) == ("ball 1", "ball")
    # Four standard uncertainties hold in 15 999 of 16 000 draws; they are stated under a twentieth of a millimetre.
    assert ball.diameter_mm == pytest.approx(12.0, abs=4.0 * ball.u_diameter_mm)
    assert ball.u_diameter_mm < 0.05
    assert on_part(ball.centre_mm, scanned) == pytest.approx([0.0, 0.0, 20.0], abs=0.05)
    # Drawn by hand: a neck of 7 mm leaves (1 + sqrt(1 - (7 / 12)^2)) / 2 of the ball, less its rounded rim.
    assert ball.seen_share == pytest.approx(0.906, abs=0.05)
    assert [boss.diameter_mm for boss in features.bosses] == [pytest.approx(7.0, abs=0.05)]


def test_a_socket_is_found_and_rounded_corners_are_no_balls():
    features, scanned = found_on("foot")
    (socket,) = features.balls
    assert (socket.name, socket.kind) == ("socket 1", "socket")
    assert socket.diameter_mm == pytest.approx(14.0, abs=4.0 * socket.u_diameter_mm)
    assert socket.u_diameter_mm < 0.05
    assert on_part(socket.centre_mm, scanned) == pytest.approx([0.0, 0.0, 15.0], abs=0.05)


def test_a_ball_is_a_row_of_the_sheet_and_stands_on_a_drafted_one():
    features, _ = found_on("stud")
    (row,) = [row for row in propose_rows(features) if row.kind == "ball"]
    sheet = Sheet(part="throttle_stud", size=(SheetRow(name="knob", kind="ball"),))
    (size,) = measure(features, sheet, load_rules(rules_folder()))
    assert row.measured_mm == size.measured_mm == features.balls[0].diameter_mm
    assert size.walls == 2
    assert np.linalg.norm(np.diff(size.points_mm, axis=0)) == pytest.approx(size.measured_mm, abs=1e-9)


def test_a_sphere_is_fitted_exactly_where_nothing_scatters_and_outliers_have_no_say():
    rng = np.random.default_rng(5)
    out = rng.normal(size=(400, 3))
    out = out[out[:, 2] > 0.0]
    points = np.array([3.0, -2.0, 70.0]) + 4.5 * out / np.linalg.norm(out, axis=1, keepdims=True)
    centre, radius = sphere_through(points)
    assert (*centre, radius) == pytest.approx((3.0, -2.0, 70.0, 4.5), abs=1e-9)
    points[:9] += 1.5
    fit = fit_sphere(points, start=sphere_through(points))
    assert (*fit.centre_mm, fit.radius_mm) == pytest.approx((3.0, -2.0, 70.0, 4.5), abs=1e-9)
