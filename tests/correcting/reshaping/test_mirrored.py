"""Left from right."""

import numpy as np
import pytest

from tests.correcting.reshaping.shapes import made
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
