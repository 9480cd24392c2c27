"""Walls made thicker on one of their faces."""

import numpy as np
import pytest

from tests.correcting.reshaping.shapes import made
from verifier.mending.check import judge_as_written
from verifier.mesh import volume_mm3


@pytest.mark.parametrize("face", ["top", "bottom"])
def test_a_face_grows_by_its_section_and_the_row_with_it(face) -> None:
    part = made("draw_bar", {"do": "thicken", "by": 2.0, "face": face})
    assert part.after.told[0].made
    assert part.after.changes_mm["body"] == pytest.approx(2.0, abs=1e-6)
    assert part.after.changes_mm["front to rear"] == pytest.approx(0.0, abs=1e-9)
    grown = volume_mm3(part.mesh) - volume_mm3(part.before.mesh)
    # Two half discs of 10 mm, 90 x 20 between them, less the bores; with the bar's rims rounded by 0.25.
    section = np.pi * 100.0 + 1800.0 - np.pi * (16.0 + 9.0)
    assert grown == pytest.approx(2.0 * section, rel=0.003)


def test_what_stands_on_the_face_goes_up_with_it_and_the_bores_stay_open() -> None:
    part = made("draw_bar", {"do": "thicken", "by": 2.0, "face": "top"})
    z = part.in_part_mm(part.mesh.vertices_mm)[:, 2]
    assert (z.min(), z.max()) == pytest.approx((0.0, 14.0), abs=0.1)
    found = judge_as_written(part.mesh)
    assert found.sound
    faces, corners = len(part.mesh.faces), len(part.mesh.vertices_mm)
    assert corners - faces // 2 == 2 - 2 * 2  # Euler: a solid with two holes through it


def test_a_wall_between_two_outer_faces_wants_the_face_named() -> None:
    told = made("draw_bar", {"do": "thicken", "by": 2.0, "wall": "body", "side": "outwards"}).after.told[0]
    assert "neither face" in told.why_not
    assert 'face = "plane' in told.do


def test_an_unknown_face_says_which_there_are() -> None:
    told = made("draw_bar", {"do": "thicken", "by": 2.0, "face": "plane 40"}).after.told[0]
    assert told.why_not == "there is no plane 40"
    assert "plane 1" in told.do
