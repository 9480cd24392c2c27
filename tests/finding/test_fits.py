import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import least_squares

from verifier.finding.fits import circle_through, fit_circle, fit_cone, fit_cylinder, fit_plane, frame_along

# The published figures hold ten digits and more; a solver that stops early differs in the sixth.
SOLVED = 1e-7

SIX_POINTS = np.array([(1, 7), (2, 6), (5, 8), (7, 7), (9, 5), (3, 7)], dtype=float)
TWELVE_POINTS = np.array(
    [
        (10.000, 21.685, 0.168),
        (9.522, 21.099, 2.767),
        (9.396, 20.018, 5.246),
        (9.867, 18.735, 7.585),
        (10.940, 17.646, 9.824),
        (12.399, 17.045, 12.033),
        (13.878, 17.145, 14.309),
        (14.949, 17.760, 16.718),
        (15.475, 18.531, 19.252),
        (15.412, 19.129, 21.886),
        (14.959, 19.270, 24.553),
        (14.450, 18.730, 27.162),
    ]
)


def test_six_points_have_their_published_circle():
    """Gander, Golub, Strebel, BIT 34 (1994) 558-578: 4.7398 2.9835 4.7142; more digits by 40-digit arithmetic."""
    fit = fit_circle(SIX_POINTS)
    assert fit.centre_mm == pytest.approx([4.739782410906074, 2.983532699292475], abs=SOLVED)
    assert fit.radius_mm == pytest.approx(4.714226037792110, abs=SOLVED)
    assert float((fit.residuals_mm**2).sum()) == pytest.approx(1.227599078183656, abs=SOLVED)


def test_the_linear_circle_of_the_six_points_is_another_one():
    """The same six points by Kasa's linear fit, 40-digit arithmetic: what a fit must not return."""
    centre, radius = circle_through(SIX_POINTS)
    assert centre == pytest.approx([4.742331288343556, 3.835122699386509], abs=SOLVED)
    assert radius == pytest.approx(4.108761522345443, abs=SOLVED)


def test_five_points_have_their_published_circle():
    """Points of the Apache Commons Math tests (Apache-2.0); the minimum by 40-digit arithmetic."""
    points = np.array([(30, 68), (50, -6), (110, -20), (35, 15), (45, 97)], dtype=float)
    fit = fit_circle(points)
    assert fit.centre_mm == pytest.approx([96.07590209601095, 48.135167894714], abs=SOLVED)
    assert fit.radius_mm == pytest.approx(69.96016175359975, abs=SOLVED)
    assert float(np.sqrt((fit.residuals_mm**2).sum())) == pytest.approx(1.768262623567244, abs=SOLVED)


def test_twelve_points_have_their_cylinder():
    """Points rounded to 0.001 so that they are exact; solved in 40-digit arithmetic."""
    fit = fit_cylinder(TWELVE_POINTS, start=(np.array([10.0, 20.0, 0.0]), np.array([0.15, -0.05, 1.0]), 2.0))
    axis = fit.axis / fit.axis[2]
    at_zero = fit.axis_point_mm - axis * fit.axis_point_mm[2]
    assert at_zero[:2] == pytest.approx([10.024005912691, 19.982766540789], abs=SOLVED)
    assert axis[:2] == pytest.approx([0.19689896468666, -0.099654997753933], abs=SOLVED)
    assert fit.radius_mm == pytest.approx(1.708094876728, abs=SOLVED)
    assert float((fit.residuals_mm**2).sum()) == pytest.approx(0.0021109960556607, abs=1e-9)


def test_three_even_rings_have_their_exact_cylinder():
    """Eight points a ring at 12.5 +-0.05 in turn: radius 12.5, axis z, sum of squares 24 x 0.05^2 (closed form)."""
    turn = np.arange(8) * np.pi / 4.0
    radius = 12.5 + 0.05 * (-1.0) ** np.arange(8)
    ring = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(8)])
    points = np.concatenate([ring + np.array([0, 0, z]) for z in (0.0, 10.0, 20.0)])
    fit = fit_cylinder(points, start=(np.array([0.1, -0.2, 0.0]), np.array([0.02, 0.01, 1.0]), 12.0))
    assert fit.radius_mm == pytest.approx(12.5, abs=1e-9)
    assert np.abs(fit.axis) == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert float((fit.residuals_mm**2).sum()) == pytest.approx(0.06, abs=1e-9)


def _cone_rings(half_deg, off_mm):
    """Eight points a ring on a cone of radius 4 at z = 5, off it in turn by so much square to its side."""
    half, turn = np.radians(half_deg), np.arange(8) * np.pi / 4.0
    rings = []
    for z in (3.5, 5.0, 6.5):
        away = off_mm * (-1.0) ** np.arange(8)
        radius = 4.0 + (z - 5.0) * np.tan(half) + away * np.cos(half)
        rings.append(np.column_stack([radius * np.cos(turn), radius * np.sin(turn), z - away * np.sin(half)]))
    return np.concatenate(rings)


@pytest.mark.parametrize("half_deg", [5.0, 30.0, 45.0, 60.0])
def test_three_even_rings_have_their_exact_cone(half_deg):
    """Radius 4 at the middle ring, its angle, axis z, sum of squares 24 x 0.05^2 (closed form)."""
    start = (np.array([0.1, -0.1, 5.2]), np.array([0.03, 0.02, 1.0]), 4.3, np.radians(half_deg + 4.0))
    fit = fit_cone(_cone_rings(half_deg, 0.05), start=start)
    assert np.degrees(fit.half_rad) == pytest.approx(half_deg, abs=1e-8)
    assert fit.radius_mm == pytest.approx(4.0, abs=1e-9)
    assert fit.axis_point_mm == pytest.approx([0.0, 0.0, 5.0], abs=1e-9)
    assert fit.axis == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert float((fit.residuals_mm**2).sum()) == pytest.approx(0.06, abs=1e-9)


def test_a_scattered_arc_of_a_cone_has_the_apex_that_another_solver_finds():
    """The same least squares by scipy, in other unknowns: apex, direction and half the angle."""
    rng = np.random.default_rng(4)
    turn, z = rng.uniform(0.0, 4.0, 150), rng.uniform(3.0, 6.0, 150)
    points = np.column_stack([z * np.cos(turn), z * np.sin(turn), z]) + 0.03 * rng.normal(size=(150, 3))

    def away(at):
        axis = np.array([at[3], at[4], 1.0]) / np.sqrt(1.0 + at[3] ** 2 + at[4] ** 2)
        rel = points - at[:3]
        along = rel @ axis
        return np.linalg.norm(rel - along[:, None] * axis, axis=1) * np.cos(at[5]) - along * np.sin(at[5])

    other = least_squares(away, [0.0, 0.0, 0.0, 0.0, 0.0, 0.8], xtol=1e-15, ftol=1e-15, gtol=1e-15).x
    fit = fit_cone(points, start=(np.array([0.1, 0.0, 4.5]), np.array([0.0, 0.05, 1.0]), 4.4, 0.75))
    apex = fit.axis_point_mm - fit.axis * fit.radius_mm / np.tan(fit.half_rad)
    assert apex == pytest.approx(other[:3], abs=1e-6)
    assert fit.half_rad == pytest.approx(other[5], abs=1e-7)
    assert fit.axis[:2] / fit.axis[2] == pytest.approx(other[3:5], abs=1e-7)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.1, 50.0))
def test_turning_and_scaling_the_points_turns_and_scales_the_cone(seed, scale):
    turn = _turn(seed)
    points = _cone_rings(41.0, 0.03)
    start = (turn @ np.array([0.1, 0.0, 4.8]) * scale, turn @ np.array([0.02, 0.0, 1.0]), 4.2 * scale, 0.7)
    fit = fit_cone(scale * points @ turn.T, start=start)
    assert fit.radius_mm == pytest.approx(4.0 * scale, rel=1e-8)
    assert np.degrees(fit.half_rad) == pytest.approx(41.0, abs=1e-7)
    assert fit.axis @ turn[:, 2] == pytest.approx(1.0, abs=1e-12)


def _turn(seed):
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    return turn * np.sign(np.linalg.det(turn))


def test_nine_points_have_their_plane():
    """Centroid, normal and sum of squares by the singular values of the exact points, 40-digit arithmetic."""
    z = np.array([[0.012, 0.098, 0.213], [-0.195, -0.104, 0.006], [-0.401, -0.297, -0.203]])
    points = np.array([(x, y, z[j, i]) for j, y in enumerate((0, 10, 20)) for i, x in enumerate((0, 10, 20))], float)
    fit = fit_plane(points)
    normal = fit.normal * np.sign(fit.normal[2])
    assert fit.centre_mm == pytest.approx([10.0, 10.0, -0.09677777777777778], abs=1e-12)
    assert normal == pytest.approx([-0.009997423919773468, 0.02039474479633785, 0.9997420196729055], abs=1e-10)
    assert float((fit.residuals_mm**2).sum()) == pytest.approx(0.0002234402246062735, abs=1e-12)


def test_a_crater_s_points_do_not_pull_the_robust_circle():
    turn = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    points = 3.0 * np.column_stack([np.cos(turn), np.sin(turn)])
    points[:40] *= 0.8  # a fifth of the wall lies 0.6 mm inward
    as_voted = (np.array([0.03, -0.02]), 3.04)  # the vote for circles starts the fit to within its band
    fit = fit_circle(points, start=as_voted, robust=True, least_spread_mm=0.01)
    assert fit.radius_mm == pytest.approx(3.0, abs=1e-6)
    assert abs(fit_circle(points).radius_mm - 3.0) > 0.05


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 10_000), scale=st.floats(0.1, 50.0))
def test_turning_and_scaling_the_points_turns_and_scales_the_cylinder(seed, scale):
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    start = (np.array([10.0, 20.0, 0.0]), np.array([0.2, -0.1, 1.0]), 1.7)
    fit = fit_cylinder(scale * TWELVE_POINTS @ turn.T, start=(scale * turn @ start[0], turn @ start[1], scale * 1.7))
    assert fit.radius_mm == pytest.approx(scale * 1.708094876728, rel=1e-8)
    assert abs(fit.axis @ turn @ [0.19227275, -0.09731357, 0.97650461]) == pytest.approx(1.0, abs=1e-8)  # eight digits


@given(st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-1, 1)).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_a_frame_is_square_and_right_handed(axis):
    u, v, w = frame_along(np.array(axis))
    assert np.linalg.det(np.array([u, v, w])) == pytest.approx(1.0, abs=1e-12)
    assert w == pytest.approx(np.array(axis) / np.linalg.norm(axis), abs=1e-12)
