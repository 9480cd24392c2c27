"""Stills of the part, drawn without a display."""

import io

import numpy as np
import pytest
import trimesh
from PIL import Image

from verifier.mending.solid import Origin
from verifier.reporting.balloons import placed_balloons
from verifier.reporting.rendering import PAINT, View, rendered, view_of
from verifier.reporting.shown import JOINED, ShownMesh
from verifier.reporting.still import Callout, callouts_of, still_png, stills
from verifier.reporting.viewing import first_turn, seen_from_below

from .examples import FAILED, NOT_FOUND, PASSED, PIVOT
from .pages import POINTS_MM, SHOWN


def ball(radius_mm: float, origin: int = Origin.MEASURED) -> ShownMesh:
    sphere = trimesh.creation.icosphere(subdivisions=5, radius=radius_mm)
    return ShownMesh(
        sphere.vertices.astype(np.float32),
        sphere.faces.astype(np.int32),
        np.full(len(sphere.faces), origin, dtype=np.uint8),
    )


def beside(one: ShownMesh, other: ShownMesh, shift_mm: tuple[float, float, float]) -> ShownMesh:
    return ShownMesh(
        np.vstack((one.vertices_mm, other.vertices_mm + np.float32(shift_mm))),
        np.vstack((one.faces, other.faces + np.int32(len(one.vertices_mm)))),
        np.concatenate((one.origin, other.origin)),
    )


def test_a_ball_is_drawn_as_the_disc_it_is():
    view = view_of(ball(10.0), np.eye(3), 400, 300, margin=50)
    assert view.scale == pytest.approx(10.0, rel=1e-3)  # 200 points of height for 20 mm
    depth_mm = rendered(ball(10.0), view).depth_mm
    row, column = np.indices(depth_mm.shape)
    from_middle_mm = np.hypot(column - 200, row - 150) / view.scale
    seen = np.isfinite(depth_mm)
    # The 20 480 triangles lie up to 0.006 mm inside the ball; a picture point is 0.1 mm wide.
    assert seen[from_middle_mm < 9.9].all()
    assert not seen[from_middle_mm > 10.05].any()
    inner = from_middle_mm < 9.0
    assert depth_mm[inner] == pytest.approx(np.sqrt(100 - from_middle_mm[inner] ** 2), abs=0.02)


def test_what_lies_in_front_hides_what_lies_behind():
    front, behind = ball(10.0, Origin.FILLED), ball(10.0, Origin.REBUILT)
    both = beside(behind, front, (0.0, 0.0, 30.0))
    view = View(np.eye(3), np.array((0.0, 0.0, 15.0)), 10.0, 300, 300)
    pixels = rendered(both, view).pixels.reshape(-1, 3).astype(int)
    assert (pixels[:, 0] > 1.8 * pixels[:, 2]).sum() > 20_000  # the filled paint
    assert not (pixels[:, 2] > 1.8 * pixels[:, 0]).any()  # the rebuilt one


@pytest.mark.parametrize("origin", [*Origin, JOINED])
def test_each_surface_has_its_paint_where_it_looks_into_the_light(origin: int):
    pixels = rendered(ball(10.0, origin), view_of(ball(10.0), np.eye(3), 300, 300, 20)).pixels
    lit = pixels.reshape(-1, 3)[(pixels.reshape(-1, 3) < 250).any(axis=1)].astype(int)
    assert lit[lit.sum(axis=1).argmax()] == pytest.approx(PAINT[origin], abs=3)


def test_a_still_is_a_png_of_the_size_asked_for_with_every_callout():
    png = still_png(SHOWN, callouts_of(FAILED.sizes), first_turn(SHOWN, POINTS_MM), 380, 260)
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    assert picture.size == (380, 260)
    bare = Image.open(io.BytesIO(still_png(SHOWN, (), first_turn(SHOWN, POINTS_MM), 380, 260))).convert("RGB")
    changed = (np.asarray(picture).astype(int) - np.asarray(bare)).any(axis=2).sum()
    assert changed > 4 * 300  # four balloons of about 28 x 28 points each


def test_a_size_that_was_not_found_has_no_callout_and_numbers_stay_those_of_the_table():
    assert [callout.number for callout in callouts_of((PIVOT, NOT_FOUND, PIVOT))] == [1, 3]


def test_the_second_still_shows_the_other_side():
    turn = first_turn(SHOWN, POINTS_MM)
    other = seen_from_below(turn)
    assert np.linalg.det(other) == pytest.approx(1.0)
    # The broad side that faced the eye, cosine 0.79, faces away as much; the rough faces turn it a little.
    assert other[2] @ (0, 0, 1) == pytest.approx(-(turn[2] @ (0, 0, 1)), abs=0.01)
    front, back = stills(PASSED, SHOWN, 300, 200)
    assert front != back


def test_balloons_do_not_cover_one_another_or_leave_the_picture():
    ends = [np.array([(200.0 + k, 150.0)]) for k in range(12)]
    middles = placed_balloons(ends, [(14.0, 14.0)] * 12, (400, 300), 44.0)
    gaps = np.abs(middles[:, None] - middles[None]).max(axis=2)[np.triu_indices(12, 1)]
    assert gaps.min() >= 27.0  # twice half a balloon, less what the last round of pushing leaves
    assert (middles >= 14).all()
    assert (middles <= (386, 286)).all()


def test_a_callout_keeps_its_verdict():
    assert [callout.verdict for callout in callouts_of(FAILED.sizes)] == [size.verdict for size in FAILED.sizes]
    assert isinstance(callouts_of(FAILED.sizes)[0], Callout)
