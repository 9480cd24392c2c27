"""What a printer cannot make, on bodies of known shape."""

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import floats

from tests.correcting.bench import PRINTER
from tests.correcting.parts import as_mesh, block
from verifier.correcting.print_checks import PrintCheck, check_print
from verifier.mesh import Mesh

CUBE = manifold3d.Manifold.cube


def look(mesh: Mesh, name: str) -> PrintCheck:
    return next(check for check in check_print(mesh, PRINTER) if check.name == name)


def test_a_sound_block_has_nothing_to_say_against_it() -> None:
    assert all(check.fine for check in check_print(block(60, 20, 8), PRINTER))


@settings(max_examples=10, deadline=None)
@given(thick_mm=floats(0.2, 0.85))
def test_a_wall_thinner_than_two_strands_is_told_with_its_thickness(thick_mm) -> None:
    wall = as_mesh(CUBE((40, 30, 5)) + CUBE((40, thick_mm, 20)).translate((0, 10, 4)))
    found = look(wall, "thin wall")
    assert not found.fine
    assert found.value == pytest.approx(thick_mm, abs=1e-3)
    assert found.place_mm[1] == pytest.approx(10 + thick_mm / 2, abs=thick_mm)
    assert found.place_mm[2] > 4.9


@settings(max_examples=6, deadline=None)
@given(thick_mm=floats(0.95, 3.0))
def test_a_wall_of_two_strands_is_not(thick_mm) -> None:
    assert look(as_mesh(CUBE((40, 30, 5)) + CUBE((40, thick_mm, 20)).translate((0, 10, 4))), "thin wall").fine


def test_a_slot_narrower_than_a_strand_is_told_and_a_wider_one_is_not() -> None:
    for wide_mm, fine in ((0.3, False), (0.6, True)):
        found = look(as_mesh(CUBE((40, 30, 10)) - CUBE((40, wide_mm, 6)).translate((0, 10, 5))), "narrow slot")
        assert found.fine is fine
    assert "0.30 mm" in look(as_mesh(CUBE((40, 30, 10)) - CUBE((40, 0.3, 6)).translate((0, 10, 5))), "narrow slot").says


def test_a_closed_cavity_is_told_with_its_volume_and_place() -> None:
    found = look(as_mesh(CUBE((40, 30, 20)) - CUBE((20, 10, 10)).translate((10, 10, 5))), "closed cavity")
    assert found.value == pytest.approx(2000.0)
    assert found.place_mm == pytest.approx((20.0, 15.0, 10.0))
    open_below = look(as_mesh(CUBE((40, 30, 20)) - CUBE((20, 10, 15)).translate((10, 10, -5))), "closed cavity")
    assert open_below.fine


@pytest.mark.parametrize(("lean_deg", "fine"), [(35.0, True), (44.0, True), (46.0, False), (70.0, False)])
def test_a_face_that_leans_out_over_45_degrees_wants_supports(lean_deg, fine) -> None:
    out_mm = 10.0 * np.tan(np.radians(lean_deg))
    side = np.array([[0, 0, 0], [30, 0, 0], [0, 20, 0], [30, 20, 0], [0, 0, 10], [30 + out_mm, 0, 10]], dtype=float)
    side = np.vstack([side, [[0, 20, 10], [30 + out_mm, 20, 10]]])
    found = look(as_mesh(manifold3d.Manifold.hull_points(side)), "overhang")
    assert found.fine is fine


def test_openings_on_the_bed_are_counted_for_the_first_layer() -> None:
    """Two bores through, one blind from above: two open on the bed."""
    bores = [manifold3d.Manifold.cylinder(20, 3, circular_segments=48).translate((x, 10, -5)) for x in (10, 30)]
    blind = manifold3d.Manifold.cylinder(20, 3, circular_segments=48).translate((50, 10, 3))
    found = look(as_mesh(CUBE((60, 20, 8)) - bores[0] - bores[1] - blind), "first layer")
    assert "the 2 openings on the bed come out 0.3 mm narrower" in found.says
    assert look(block(60, 20, 8), "first layer").fine


def test_a_ball_has_no_walls() -> None:
    assert look(as_mesh(manifold3d.Manifold.sphere(10, 128).translate((10, 10, 10))), "thin wall").fine
