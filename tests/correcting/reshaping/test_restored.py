"""A worn side made anew from the sound one."""

import numpy as np
import pytest

from tests.correcting.reshaping.shapes import made
from verifier.mending.check import judge_as_written
from verifier.mesh import volume_mm3

WORN = {"do": "restore", "across": "length"}
# A disc of 6 mm about (38, 0) takes this segment off the bar's end at 35: its half chord is sqrt(36 - 9).
WORN_OFF_MM2 = 36.0 * np.arccos(0.5) - 3.0 * np.sqrt(27.0)


def test_the_worn_off_material_is_back() -> None:
    part = made("worn_yoke", WORN)
    assert part.after.told[0].made
    gained = volume_mm3(part.mesh) - volume_mm3(part.before.mesh)
    assert gained == pytest.approx(9.0 * WORN_OFF_MM2, rel=0.03)  # 1 % of the volume, and rims rounded by 0.25
    assert judge_as_written(part.mesh).sound


def test_the_part_is_its_own_mirror_image_then() -> None:
    part = made("worn_yoke", WORN)
    corners = part.in_part_mm(part.mesh.vertices_mm)
    assert corners[:, 0].max() == pytest.approx(35.0, abs=0.12)
    assert corners[:, 0].min() == pytest.approx(-35.0, abs=0.12)
    end = corners[(np.abs(corners[:, 1]) < 4.0) & (corners[:, 0] > 30.0)]
    assert end[:, 0].max() > 34.8  # the hollow was 3 mm deep there


def test_rows_over_the_new_side_are_not_foretold() -> None:
    lost = made("worn_yoke", WORN).after.lost
    assert "length" in lost
    assert "width" not in lost or "bar" not in lost


def test_equal_bores_do_not_say_which_side_is_worn() -> None:
    told = made("worn_yoke", {**WORN, "worn": "right"}).after.told[0]
    assert "'right' has an equal one" in told.why_not


def test_a_part_without_two_like_sides_stays() -> None:
    told = made("latch_lever", WORN).after.told[0]
    assert not told.made
    assert "no mirror images" in told.why_not or "which one is worn" in told.why_not
