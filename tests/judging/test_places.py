"""Where to scan again, and what was thrown away, in words."""

import re
from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from tests.judging.test_judge import block, judged
from verifier.judging.places import THROWN_AWAY, side_of, what_was_thrown_away
from verifier.mending.solid import MendStep, Origin, Solid
from verifier.mesh import Mesh


def filled_on_top(width_mm: float) -> Solid:
    """A block of 200 x 150 x 40 mm with a square of that width in its top filled."""
    raw = manifold3d.Manifold.cube((200, 150, 40)).refine_to_length(2.0).to_mesh()
    mesh = Mesh(np.asarray(raw.vert_properties[:, :3], dtype=float), np.asarray(raw.tri_verts, dtype=np.int64))
    middles = mesh.corners_mm.mean(axis=1)
    off = np.abs(middles[:, :2] - [100.0, 75.0]).max(axis=1)
    filled = (middles[:, 2] > 39.99) & (off < width_mm / 2)
    return Solid(mesh, np.where(filled, Origin.FILLED, Origin.MEASURED).astype(np.uint8))


def test_a_hole_wide_enough_to_hide_a_bore_is_never_passed_and_has_its_place():
    """0.2 % of the surface: far under the share that may be filled."""
    found = judged(solid=filled_on_top(16.0))
    assert found.verdict == "UNDECIDED"
    assert found.reasons[0].startswith("1 hole of more than 6 mm across was filled, up to ")
    (step,) = [step for step in found.next_steps if step.startswith("Scan again here")]
    length, width, *at = (float(figure) for figure in re.findall(r"[\d.]+\d", step)[:5])
    assert (length, width) == pytest.approx((16, 16), abs=2.0)  # the faces are so large
    assert at == pytest.approx([100.0, 75.0, 40.0], abs=1.0)
    assert step.endswith("seen from +z.")


def test_a_narrow_hole_may_pass():
    assert judged(solid=filled_on_top(4.0)).verdict == "PASS"


@pytest.mark.parametrize("large", [True, False])
def test_a_large_thrown_away_piece_is_named_among_the_next_steps(large):
    size = 4.1 if large else 1.9
    step = MendStep("Removed debris", 2, 3.0, ((1.0, 2.0, 3.0),), size, (size,))
    solid = replace(block(), steps=(step,))
    told = what_was_thrown_away(solid)
    assert len(told) == large
    assert ("4.1 mm across at (1.0, 2.0, 3.0)" in "".join(judged(solid=solid).next_steps)) == large


def test_all_thrown_away_pieces_are_told_in_one_sentence_the_largest_first():
    sizes = zip(THROWN_AWAY, (4, 9, 5, 3), strict=True)
    steps = tuple(MendStep(what, 1, 3.0, ((1.0, 2.0, 3.0),), size, (size,)) for what, size in sizes)
    (told,) = what_was_thrown_away(replace(block(), steps=steps))
    assert re.findall(r"(\d)\.0 mm across", told) == ["9", "5", "4", "3"]


def test_sides_are_named_by_the_exports_own_axes():
    assert side_of(np.array([0.1, -0.99, 0.1])) == "-y"
    assert side_of(np.array([0.7, 0.0, -0.71])) == "between -z and +x"
