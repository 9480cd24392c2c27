import dataclasses

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import floats, integers

from inbox_demo import simulated
from tests.correcting.bench import shop
from tests.correcting.parts import as_mesh, as_solid, block, bore, box_planes, features, turned
from tests.made_up_rules import FILAMENT, PRINTER
from verifier.correcting.printing import PrintPlan, enlargement, plan_print, printed_sizes
from verifier.finding.feature import Features
from verifier.measuring.size import Size
from verifier.mesh import Mesh, extents_mm, face_normals, volume_mm3
from verifier.rulebook.rules import Filament, Printer
from verifier.rulebook.sheet import Sheet

SHEET = Sheet(part="latch_lever")
LEVER_BOX = (82.0, 28.0, 8.0)


def plan_of(
    mesh: Mesh,
    found: Features,
    sheet: Sheet = SHEET,
    filament: Filament = FILAMENT,
    printer: Printer = PRINTER,
) -> PrintPlan:
    return plan_print(as_solid(mesh), found, sheet, shop(), filament, printer)


def lever_plan(filament: Filament = FILAMENT, printer: Printer = PRINTER) -> PrintPlan:
    bores = (bore("bore 1", (0, 0, 1), (10, 14, 4), 10.0), bore("bore 2", (1, 0, 0), (41, 14, 4), 4.0))
    return plan_of(block(*LEVER_BOX), features(box_planes(*LEVER_BOX), bores), filament=filament, printer=printer)


@pytest.mark.parametrize(("shrink", "length_mm", "model_mm"), [(0.006, 100.0, 100.6036), (0.014, 250.0, 253.5497)])
def test_a_length_is_made_larger_by_one_over_one_less_the_shrink(
    shrink: float, length_mm: float, model_mm: float
) -> None:
    """To be 100 after shrinking by 0.6 % a model has 100.6036, not 100.6."""
    filament = FILAMENT.model_copy(update={"shrink_xy": shrink})
    assert length_mm * enlargement(filament)[0] == pytest.approx(model_mm, abs=1e-4)


@given(shrink=floats(0.0, 0.05), length_mm=floats(1.0, 300.0))
def test_shrinking_gives_back_the_length_that_was_wanted(shrink: float, length_mm: float) -> None:
    filament = FILAMENT.model_copy(update={"shrink_z": shrink})
    assert length_mm * enlargement(filament)[2] * (1 - shrink) == pytest.approx(length_mm, rel=1e-12)


def test_the_print_stands_on_the_bed_with_each_axis_enlarged_by_its_own_shrink() -> None:
    plan = lever_plan()
    assert plan.mesh.vertices_mm.min(axis=0) == pytest.approx([0.0, 0.0, 0.0], abs=1e-12)
    assert plan.size_mm == pytest.approx((82 / 0.994, 28 / 0.994, 8 / 0.998), abs=1e-4)
    assert extents_mm(plan.mesh) == pytest.approx(plan.size_mm)
    assert plan.rests_on == "plane 1"
    assert volume_mm3(plan.mesh) == pytest.approx(82 * 28 * 8 / (0.994**2 * 0.998), rel=1e-6)
    assert plan.mass_g == pytest.approx(volume_mm3(plan.mesh) / 1000 * 1.24)
    assert plan.cautions == ("It softens in a hot car.",)
    assert "Keep it dry." in plan.notes


@settings(max_examples=6, deadline=None)
@given(seed=integers(0, 1000))
def test_the_way_the_scan_lies_does_not_change_the_print(seed: int) -> None:
    turn = simulated.rotation(seed)
    mesh, found = block(*LEVER_BOX), features(box_planes(*LEVER_BOX))
    lying = plan_of(Mesh(mesh.vertices_mm @ turn.T, mesh.faces), turned(found, turn))
    assert lying.size_mm == pytest.approx(lever_plan().size_mm, abs=1e-9)
    assert np.abs(turn.T @ lying.build_direction) == pytest.approx([0, 0, 1], abs=1e-9)
    assert volume_mm3(lying.mesh) > 0  # turned, never mirrored


def test_the_sheet_decides_what_stands_upright() -> None:
    sheet = Sheet(part="latch_lever", upright="width")
    plan = plan_of(block(*LEVER_BOX), features(box_planes(*LEVER_BOX)), sheet)
    assert plan.size_mm == pytest.approx((82 / 0.994, 8 / 0.994, 28 / 0.998), abs=1e-4)
    assert plan.rests_on.endswith("width upright")


def test_a_part_rests_on_no_flat_that_lies_above_the_rest_of_it() -> None:
    """A bracket with its largest face in the notch of an L: nothing rests on that."""
    body = manifold3d.Manifold.cube((60, 40, 5)) + manifold3d.Manifold.cube((5, 40, 30))
    mesh = as_mesh(body)
    in_the_notch = box_planes(60, 40, 5)
    top = next(plane for plane in in_the_notch if plane.normal[2] == 1.0)
    rest = [plane for plane in in_the_notch if plane.normal[2] == -1.0]
    plan = plan_of(mesh, features([top, *rest]))
    assert plan.build_direction == pytest.approx([0, 0, 1])
    assert plan.rests_on == rest[0].name


def test_a_part_is_not_stood_where_it_would_tip_over() -> None:
    """A mast on a small foot that reaches far out to one side: the largest flat is under the foot."""
    foot, arm = manifold3d.Manifold.cube((20, 20, 5)), manifold3d.Manifold.cube((90, 20, 10)).translate((0, 0, 30))
    body = foot + manifold3d.Manifold.cube((10, 20, 35)) + arm
    mesh = as_mesh(body)
    under = [plane for plane in box_planes(20, 20, 5) if plane.normal[2] == -1.0]
    side = [plane for plane in box_planes(90, 20, 40) if plane.normal[1] == -1.0]
    plan = plan_of(mesh, features([*under, *side]))
    assert plan.build_direction == pytest.approx([0, 1, 0])


def test_a_ball_rests_on_nothing_and_says_so() -> None:
    plan = plan_of(as_mesh(manifold3d.Manifold.sphere(10, 48)), features())
    assert plan.notes[0] == "No flat face carries the part: print it with supports or a raft."
    assert plan.mesh.vertices_mm[:, 2].min() == pytest.approx(0.0)


def test_a_print_that_is_too_large_names_a_printer_it_fits() -> None:
    small = PRINTER.model_copy(update={"name": "small", "bed_x_mm": 60, "bed_y_mm": 60})
    plan = plan_of(block(*LEVER_BOX), features(box_planes(*LEVER_BOX)), printer=small)
    assert not plan.fits_bed
    assert plan.notes[0] == "It does not fit the bed of small, 60 × 60 × 250 mm: print it on bench printer."
    assert lever_plan().fits_bed


def test_a_long_part_fits_a_bed_that_is_long_the_other_way() -> None:
    assert lever_plan(printer=PRINTER.model_copy(update={"bed_x_mm": 40, "bed_y_mm": 90})).fits_bed


def test_faces_that_hang_over_are_told_and_the_one_on_the_bed_is_not() -> None:
    """A table top of 40 x 40 on a leg of 20 x 20: 1200 mm2 hang over."""
    body = manifold3d.Manifold.cube((20, 20, 30)).translate((10, 10, 0)) + manifold3d.Manifold.cube(
        (40, 40, 5)
    ).translate((0, 0, 30))
    under = [plane for plane in box_planes(20, 20, 30) if plane.normal[2] == -1.0]
    plan = plan_of(as_mesh(body), features(under))
    hangs = next(check for check in plan.checks if check.name == "overhang")
    assert not hangs.fine
    # Enlarged by 1 / (1 - 0.006) both ways against shrinkage.
    assert f"{1200 / 0.994**2:.0f} mm²" in hangs.says
    assert "leans out by more than 45 degrees" in hangs.says
    assert next(check for check in lever_plan().checks if check.name == "overhang").fine


def test_no_face_of_the_printed_mesh_is_turned_inside_out() -> None:
    plan = lever_plan()
    outwards = plan.mesh.corners_mm.mean(axis=1) - plan.mesh.vertices_mm.mean(axis=0)
    assert np.all(np.einsum("ij,ij->i", face_normals(plan.mesh), outwards) > 0)


def size(direction: tuple[float, float, float], length: float, walls: int = 2, name: str = "plane 1") -> Size:
    ends = np.array([[0.0, 0.0, 0.0], np.array(direction) * length])
    return Size("row", length, 0.01, walls, (name,), ends)


def test_the_shrink_s_uncertainty_follows_the_direction_of_a_size() -> None:
    plan = lever_plan()
    flat, high, slanting = (
        size((1.0, 0.0, 0.0), 80.0),
        size((0.0, 0.0, 1.0), 80.0),
        size((0.0, np.sqrt(0.5), np.sqrt(0.5)), 80.0),
    )
    printed = printed_sizes([flat, high, slanting, flat], [80.0, 80.0, 80.0, None], plan)
    assert printed[3] is None
    u_xy, u_z = 0.001 / 0.994, 0.0005 / 0.998
    assert [each[0] for each in printed[:3]] == [80.0, 80.0, 80.0]
    assert [each[1] for each in printed[:3]] == pytest.approx(
        [80 * u_xy, 80 * u_z, 80 * np.hypot(0.5 * u_xy, 0.5 * u_z)], rel=1e-9
    )


def test_the_uncertainty_is_that_of_prints_whose_shrink_scatters() -> None:
    """Monte Carlo: a slanting length printed with shrinks drawn at random."""
    chance = np.random.default_rng(9)
    plan = lever_plan()
    along = np.array([0.6, 0.0, 0.8])
    model = 80.0 * along * enlargement(FILAMENT)
    left = 1.0 - chance.normal([FILAMENT.shrink_xy, FILAMENT.shrink_z], [0.001, 0.0005], (20_000, 2))
    lengths = np.linalg.norm(left[:, [0, 0, 1]] * model, axis=1)
    [(value, u)] = printed_sizes([size((0.6, 0.0, 0.8), 80.0)], [80.0], plan)
    assert lengths.mean() == pytest.approx(value, abs=0.002)
    assert lengths.std() == pytest.approx(u, rel=0.03)


def test_an_upright_bore_prints_small_by_what_the_printer_takes() -> None:
    printer = PRINTER.model_copy(update={"hole_allowance_mm": 0.2, "u_hole_mm": 0.05})
    plan = lever_plan(printer=printer)
    assert plan.upright_bores == {"bore 1"}
    upright, lying = size((1, 0, 0), 10.0, -2, "bore 1"), size((0, 1, 0), 4.0, -2, "bore 2")
    (upright_mm, u_upright), (lying_mm, _) = printed_sizes([upright, lying], [10.0, 4.0], plan)
    assert upright_mm == pytest.approx(9.8)
    assert u_upright == pytest.approx(np.hypot(0.05, 10 * 0.001 / 0.994))
    assert lying_mm == 4.0


@pytest.mark.parametrize("rounding", [0.0, 1e-6])
def test_walls_that_stand_proud_show_on_sizes_in_the_layers_and_not_on_heights(rounding: float) -> None:
    """Twice on an outside size, once on an edge distance; a direction longer than 1 by rounding is still upright."""
    plan = lever_plan(printer=PRINTER.model_copy(update={"wall_proud_mm": 0.03, "u_wall_mm": 0.01}))
    plan = dataclasses.replace(plan, build_direction=plan.build_direction * (1.0 + rounding))
    flat = [Size("length", 82.0, 0.01, 2, ("extent 1",), np.array([[0.0, 14, 4], [82, 14, 4]]))]
    edge = [Size("pin to end", 10.0, 0.01, 1, ("bore 1",), np.array([[10.0, 14, 4], [0, 14, 4]]))]
    tall = [Size("height", 8.0, 0.01, 2, ("extent 3",), np.array([[10.0, 14, 0], [10, 14, 8]]))]
    printed = [values[0] for each in (flat, edge, tall) if (values := printed_sizes(each, [each[0].measured_mm], plan))]
    assert [values[0] for values in printed if values] == pytest.approx([82.06, 10.03, 8.0], abs=1e-9)
    assert any("walls come out 0.03 mm proud" in note for note in plan.notes)
