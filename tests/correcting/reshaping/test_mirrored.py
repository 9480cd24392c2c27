"""Left from right."""

import numpy as np
import pytest

from tests.correcting.bored import RULES
from tests.correcting.reshaping.shapes import draw_bar, made, sheet_of
from verifier.correcting.printing import plan_print
from verifier.mending.check import judge_as_written
from verifier.mesh import volume_mm3

MIRROR = {"do": "mirror"}


def test_the_mirror_image_has_the_same_volume_and_looks_outwards() -> None:
    part = made("draw_bar", MIRROR)
    assert volume_mm3(part.mesh) == pytest.approx(volume_mm3(part.before.mesh), rel=1e-12)
    assert judge_as_written(part.mesh).sound


def test_mirrored_twice_is_the_same_to_the_last_bit() -> None:
    part = made("draw_bar", MIRROR, MIRROR)
    assert np.array_equal(part.mesh.vertices_mm, part.before.mesh.vertices_mm)
    assert np.array_equal(part.mesh.faces, part.before.mesh.faces)


def test_no_size_changes_and_what_was_up_is_still_up() -> None:
    part = made("draw_bar", MIRROR)
    assert max(map(abs, part.after.changes_mm.values())) < 1e-12
    heights = part.mesh.vertices_mm @ part.after.up
    assert np.ptp(heights) == pytest.approx(12.0, abs=0.2)


def test_a_mirrored_part_is_no_turned_one() -> None:
    """The determinant of the corners' third moments along the part's own axes changes its sign in a mirror."""

    def handedness(vertices: np.ndarray, signs: np.ndarray) -> float:
        away = vertices - vertices.mean(axis=0)
        axes = np.linalg.eigh(away.T @ away)[1]
        skew = ((away @ axes) ** 3).sum(axis=0)
        return float(np.linalg.det(axes) * np.prod(np.sign(skew)))

    part = made("latch_lever", MIRROR)
    before = handedness(part.before.mesh.vertices_mm, np.ones(3))
    assert handedness(part.mesh.vertices_mm, np.ones(3)) == -before


def test_a_mirrored_part_can_be_made_longer_and_its_rows_follow() -> None:
    both = made("draw_bar", MIRROR, {"do": "lengthen", "by": 40.0, "between": ("front", "rear")}).after
    assert both.changes_mm["length"] == pytest.approx(40.0, abs=1e-3)
    assert both.changes_mm["body"] == pytest.approx(0.0, abs=0.02)


def test_a_mirrored_copy_s_way_up_is_told_as_the_scan_lies_and_as_the_copy_does() -> None:
    """A bore's lean and a print's heights are told on the scan; the copy is stood by its own."""
    part = made("draw_bar", {"do": "mirror"})
    plan = plan_print(
        part.before,
        part.found,
        sheet_of(draw_bar()),
        RULES,
        RULES.filaments[0],
        RULES.printers[0],
        (),
        None,
        part.after,
    )
    assert plan.build_direction @ part.scan.turn[:, 2] > 0.999
    assert plan.up_on_copy == pytest.approx(part.scan.turn[:, 2] * [-1.0, 1.0, 1.0])
    assert plan.size_mm[2] == pytest.approx(12.0, abs=0.2)
