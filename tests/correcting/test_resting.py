"""Which way up: supports, height, bores, bed and load, and what is said about it."""

import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import integers

from inbox_demo import simulated
from tests.correcting.bench import PRINTER
from tests.correcting.parts import as_mesh, as_solid, block, bore, box_planes, features, turned
from verifier.correcting.load import load_direction
from verifier.correcting.resting import choose_resting
from verifier.correcting.way_up import LOAD_RISES_MOST_DEG
from verifier.measuring.size import Size
from verifier.mesh import Mesh
from verifier.rulebook import Sheet, SheetRow

SHEET = Sheet(part="latch_lever")
LEVER = (82.0, 28.0, 8.0)
POST = (20.0, 24.0, 60.0)


def test_a_flat_lever_lies_flat_and_says_why() -> None:
    found = features(box_planes(*LEVER), (bore("bore 1", (0, 0, 1), (10, 14, 4), 10.0),))
    resting = choose_resting(as_solid(block(*LEVER)), found, SHEET, PRINTER)
    assert np.abs(resting.turn[2]) == pytest.approx([0, 0, 1])
    assert "no supports, 8 mm high, every bore upright" in resting.why


def test_a_part_with_a_table_top_is_turned_over_rather_than_supported() -> None:
    """A stool of one leg: on its foot the top hangs over, on its top nothing does."""
    leg = manifold3d.Manifold.cube((20, 20, 30)).translate((10, 10, 0))
    body = leg + manifold3d.Manifold.cube((40, 40, 5)).translate((0, 0, 30))
    faces = [plane for plane in box_planes(20, 20, 30) if plane.normal[2] == -1.0]
    tops = [plane for plane in box_planes(40, 40, 35) if plane.normal[2] == 1.0]
    resting = choose_resting(as_solid(as_mesh(body)), features([*faces, *tops]), SHEET, PRINTER)
    assert resting.turn[2] == pytest.approx([0, 0, -1])
    assert "1200 mm² of supports" in resting.why


def test_a_bore_that_would_lie_stands_the_part_on_its_smaller_face() -> None:
    """A cube-like block with one deep bore across: upright it has no roof to hang."""
    box = (30.0, 26.0, 24.0)
    across = features(box_planes(*box), (bore("bore 1", (1, 0, 0), (15, 13, 12), 12.0),))
    without = choose_resting(as_solid(block(*box)), features(box_planes(*box)), SHEET, PRINTER)
    with_bore = choose_resting(as_solid(block(*box)), across, SHEET, PRINTER)
    assert np.abs(without.turn[2]) == pytest.approx([0, 0, 1])
    assert np.abs(with_bore.turn[2]) == pytest.approx([1, 0, 0])


def test_the_layers_do_not_part_under_the_load() -> None:
    """A post whose bores want it standing is laid down when it is pulled along its height."""
    bores = (bore("bore 1", (0, 0, 1), (10, 12, 30), 9.0),)
    part, found = as_solid(block(*POST)), features(box_planes(*POST), bores * 12)
    pulled = np.array([0.0, 0.0, 1.0])
    assert np.abs(choose_resting(part, found, SHEET, PRINTER).turn[2]) == pytest.approx([0, 0, 1])
    resting = choose_resting(part, found, SHEET, PRINTER, pulled)
    assert abs(float(resting.turn[2] @ pulled)) < np.sin(np.radians(LOAD_RISES_MOST_DEG))
    assert not resting.notes


def test_a_fixed_way_up_tells_that_the_layers_may_part() -> None:
    part, found = as_solid(block(*POST)), features(box_planes(*POST))
    foot = next(plane.name for plane in found.planes if plane.normal[2] == -1.0)
    fixed = Sheet(part="latch_lever", rests_on=foot)
    resting = choose_resting(part, found, fixed, PRINTER, np.array([0.0, 0.0, 1.0]))
    assert resting.rests_on == foot
    assert any("pulls the layers off each other" in note for note in resting.notes)
    assert not choose_resting(part, found, fixed, PRINTER, np.array([1.0, 0.0, 0.0])).notes


def test_a_face_the_part_does_not_have_is_told() -> None:
    resting = choose_resting(as_solid(block(*LEVER)), features(box_planes(*LEVER)), Sheet(part="x", rests_on="plane 9"))
    assert resting.notes == ("The sheet wants it to rest on plane 9, and there is none.",)


def test_the_bed_decides_where_only_one_way_up_fits() -> None:
    tall = (30.0, 26.0, 200.0)
    low = PRINTER.model_copy(update={"bed_x_mm": 40.0, "bed_y_mm": 40.0, "bed_z_mm": 250.0})
    faces = [plane for plane in box_planes(*tall) if plane.normal[2] != 0 or plane.normal[0] != 0]
    resting = choose_resting(as_solid(block(*tall)), features(faces), SHEET, low)
    # Standing it would tip by the rule of a tenth of its height if it were any narrower: 13 mm of 100.
    assert np.abs(resting.turn[2]) == pytest.approx([0, 0, 1])


@settings(max_examples=10, deadline=None)
@given(seed=integers(0, 1000))
def test_the_way_the_scan_lies_does_not_change_the_way_up(seed) -> None:
    turn = simulated.rotation(seed)
    leg = manifold3d.Manifold.cube((20, 20, 30)).translate((10, 10, 0))
    mesh = as_mesh(leg + manifold3d.Manifold.cube((40, 40, 5)).translate((0, 0, 30)))
    planes = [plane for plane in box_planes(40, 40, 35) if plane.normal[2] == 1.0]
    found = features(planes + [plane for plane in box_planes(20, 20, 30) if plane.normal[2] == -1.0])
    lying = choose_resting(as_solid(Mesh(mesh.vertices_mm @ turn.T, mesh.faces)), turned(found, turn), SHEET, PRINTER)
    assert turn.T @ lying.turn[2] == pytest.approx([0, 0, -1], abs=1e-9)


def _size(name: str, *names: str) -> Size:
    return Size(name, 5.0, 0.01, -2, names[:1], np.zeros((2, 3)), set_features=names if len(names) > 1 else ())


@pytest.mark.parametrize("which_is_which", [True, False])
def test_the_load_goes_between_the_bores_of_its_rows(which_is_which) -> None:
    found = features((), (bore("bore 1", (0, 0, 1), (0, 0, 4), 5.0), bore("bore 2", (0, 0, 1), (30, 40, 1), 5.0)))
    rows = (SheetRow(name="pivot and arm", kind="bore"), SheetRow(name="pin", kind="bore"))
    sheet = Sheet(part="latch_lever", load="between pivot and arm and pin", size=rows)
    assert sheet.load_ends == ("pivot and arm", "pin")
    names = (("bore 1",), ("bore 2",)) if which_is_which else (("bore 1", "bore 2"),) * 2
    measured = [_size(row.name, *each) for row, each in zip(rows, names, strict=True)]
    assert np.abs(load_direction(sheet, found, measured)) == pytest.approx([0.6, 0.8, 0.0])


def test_no_load_no_direction() -> None:
    assert load_direction(SHEET, features(), ()) is None
