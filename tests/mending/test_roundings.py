"""Roundings of edges are what a ball leaves that is rolled along two faces: found badly seen, led on through holes."""

import faults
import igl
import numpy as np
import pytest
from test_leading import led_on

from verifier.mending.forms import Flat, Patches, Ring, Round
from verifier.mending.roundings import parted, with_roundings

SPACING_MM = 0.5


def patches_of(points: np.ndarray, normals: np.ndarray, scatter_mm: float = 0.0) -> Patches:
    """A patch of half a millimetre square at every point."""
    off = np.random.default_rng(5).normal(0.0, scatter_mm, len(points)) if scatter_mm else np.zeros(len(points))
    return Patches(points + off[:, None] * normals, normals, np.full(len(points), SPACING_MM**2))


def rolled_along(length_mm: float, radius_mm: float, bulge: int) -> tuple[np.ndarray, np.ndarray]:
    """Places and normals on the rounding of the edge of x = 0 and y = 0, so long along z."""
    turn = np.radians(np.linspace(3.0, 87.0, max(3, int(1.57 * radius_mm / SPACING_MM))))
    z = np.arange(0.0, length_mm, SPACING_MM)
    turn, z = (each.ravel() for each in np.meshgrid(turn, z))
    normals = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(len(z))])
    middle = -bulge * radius_mm * np.array([1.0, 1.0, 0.0])
    return middle + bulge * radius_mm * normals + np.outer(z, [0, 0, 1.0]), normals


def flat_at(normal, out: float, at) -> tuple[Flat, np.ndarray, np.ndarray]:
    """A flat through the origin, and places of it 6 to 16 mm away."""
    normal, at = np.asarray(normal, dtype=float), np.asarray(at, dtype=float)
    side = np.cross(normal, at)
    u, v = (each.ravel() for each in np.meshgrid(np.arange(6.0, 16.0, SPACING_MM), np.arange(0.0, 10.0, SPACING_MM)))
    points = out * np.outer(u, at) + np.outer(v, np.abs(side))
    return Flat(np.zeros(3), normal), points, np.broadcast_to(normal, points.shape)


@pytest.mark.parametrize("bulge", [1, -1])
@pytest.mark.parametrize("radius_mm", [2.0, 4.0, 6.0])
def test_a_rounding_seen_for_a_millimetre_and_a_half_tells_its_radius(radius_mm, bulge):
    """Under scatter of 0.02 mm; two rows of patches, each of which tells it to 2.4 times the scatter."""
    one, at_one, along_one = flat_at((1, 0, 0), -bulge, (0, 1, 0))
    other, at_other, along_other = flat_at((0, 1, 0), -bulge, (1, 0, 0))
    at, along = rolled_along(1.5, radius_mm, bulge)
    points, normals = (np.concatenate(each) for each in ((at_one, at_other, at), (along_one, along_other, along)))
    forms, (rolled,) = with_roundings([one, other], patches_of(points, normals, 0.02), SPACING_MM)
    assert isinstance(rolled.form, Round)
    assert rolled.form.outward == bulge
    assert rolled.form.radius_mm == pytest.approx(radius_mm, abs=0.06)
    assert np.abs(rolled.form.off_mm(at)).max() < 0.06
    assert any(form is rolled.form for form in forms)


def test_flats_that_meet_in_a_sharp_edge_have_no_rounding():
    """The chamfer that a net lays over such an edge, half a spacing wide, is none either."""
    one, at_one, along_one = flat_at((1, 0, 0), -1, (0, 1, 0))
    other, at_other, along_other = flat_at((0, 1, 0), -1, (1, 0, 0))
    at, along = rolled_along(10.0, 0.6 * SPACING_MM, 1)
    points, normals = (np.concatenate(each) for each in ((at_one, at_other, at), (along_one, along_other, along)))
    assert with_roundings([one, other], patches_of(points, normals), SPACING_MM)[1] == []


def test_between_two_points_a_step_apart_no_way_leads_past_where_a_rounding_leaves_its_flat():
    """Both a little below the flat and outside the rounding, one on each side of the line in which they touch."""
    flat, radius_mm = Flat(np.zeros(3), np.array([0, 0, 1.0])), 4.0
    ball = Ring(np.array([0, 0, -radius_mm]), np.array([0, 0, 1.0]), 0.0, radius_mm, 1)
    bar = Round(np.array([0, 0, -radius_mm]), np.array([0, 1.0, 0]), radius_mm, 1)
    for thin in (bar, ball):
        (_, thick) = parted([flat, thin], SPACING_MM)
        beside = np.array([[x, 0.0, -1e-6] for x in (-SPACING_MM / 2, SPACING_MM / 2)])
        assert thin.off_mm(beside).min() > 0.0
        assert thick.off_mm(beside).max() < 1e-5
        assert thick.radius_mm - thin.radius_mm < 0.03


# Middle of the ball that takes the surface, its width; mm3 that the shell may change by, and mm the fill may be off.
TAKEN = {
    # The rounding along the end, from ball to ball: square it was 0.76 % of 2900 mm3 too much.
    "rounding along the end": ((38.70, 9.35, 7.94), 10.2, 5.0, 0.4),
    # Both walls, the upright rounding and a ball, of which a slice of the ball is left.
    "a corner down to the foot": ((4.75, 0.08, 0.0), 16.6, 8.0, 0.4),
}


@pytest.mark.parametrize("case", TAKEN)
def test_an_armrests_roundings_run_on_through_a_hole(case):
    at, across_mm, mm3, off_mm = TAKEN[case]
    part = faults.seat_armrest()
    solid = led_on(part, faults.with_hole(part.mesh, np.array(at), across_mm), mm3)
    taken = np.linalg.norm(faults.middles(part.mesh) - at, axis=1) <= across_mm / 2
    away = igl.point_mesh_squared_distance(faults.middles(part.mesh)[taken], solid.mesh.vertices_mm, solid.mesh.faces)
    assert np.sqrt(away[0].max()) < off_mm
