"""Names cut into a face."""

import string
from itertools import pairwise

import numpy as np
import pytest

from tests.correcting.reshaping.shapes import made
from verifier.correcting.reshaping.letters import HIGH, STROKES, WIDE
from verifier.mending.check import judge_as_written
from verifier.mending.solid import Origin
from verifier.mesh import volume_mm3
from verifier.rulebook.reshape_row import Reshape

NAME = {"do": "engrave", "text": "Bar R2", "face": "top"}


def test_the_name_is_cut_out_of_the_face_and_the_rest_stays() -> None:
    part = made("draw_bar", NAME)
    assert part.after.told[0].made, part.after.told[0].why_not
    assert judge_as_written(part.mesh).sound
    before = {row.tobytes() for row in part.before.mesh.vertices_mm}
    letters = np.unique(part.mesh.faces[part.after.solid.origin == Origin.REBUILT])
    rest = np.setdiff1d(np.unique(part.mesh.faces), letters)
    stayed = np.array([row.tobytes() in before for row in part.mesh.vertices_mm[rest]])
    assert stayed.all()
    assert len(rest) > 0.9 * len(part.before.mesh.vertices_mm)


def test_the_letters_are_as_deep_and_as_high_as_asked() -> None:
    part = made("draw_bar", {**NAME, "height": 8.0, "depth": 1.2})
    letters = part.mesh.vertices_mm[np.unique(part.mesh.faces[part.after.solid.origin == Origin.REBUILT])]
    at = part.in_part_mm(letters)
    # The plate's face lies at 8 mm, up to the scatter of 0.02 mm.
    assert at[:, 2].min() == pytest.approx(8.0 - 1.2, abs=0.03)
    # From stroke's edge to stroke's edge; the line lies within a quarter degree of the bar: 0.2 mm over its length.
    assert np.ptp(at[:, 1]) == pytest.approx(8.0 * (1.0 + 1.0 / 7.0), abs=0.2)


def test_raised_letters_stand_as_far_out_of_the_face_as_asked() -> None:
    part = made("draw_bar", {**NAME, "height": 8.0, "depth": 1.0, "raised": True})
    assert part.after.told[0].said.startswith("Raised 'BAR R2'")
    assert judge_as_written(part.mesh).sound
    letters = part.mesh.vertices_mm[np.unique(part.mesh.faces[part.after.solid.origin == Origin.REBUILT])]
    assert part.in_part_mm(letters)[:, 2].max() == pytest.approx(8.0 + 1.0, abs=0.03)
    # Strokes as wide as those of letters cut 8 mm high, 1.14 mm.
    cut = made("draw_bar", {**NAME, "height": 8.0, "depth": 1.0})
    grown_mm3, lost_mm3 = (
        volume_mm3(part.mesh) - volume_mm3(cut.before.mesh),
        volume_mm3(cut.before.mesh) - volume_mm3(cut.mesh),
    )
    # The same figure as high as it is deep; the face under it is uneven by 0.02 mm over some 70 mm2.
    assert grown_mm3 == pytest.approx(lost_mm3, abs=1.0)


def test_the_strokes_are_at_least_two_strands_wide() -> None:
    thin = made("draw_bar", {**NAME, "height": 3.0})
    area_mm2 = (volume_mm3(thin.before.mesh) - volume_mm3(thin.mesh)) / 0.6
    wide = made("draw_bar", {**NAME, "height": 3.0}, line_mm=0.225)
    narrow_mm2 = (volume_mm3(wide.before.mesh) - volume_mm3(wide.mesh)) / 0.6
    assert area_mm2 > 1.5 * narrow_mm2


@pytest.mark.parametrize(
    ("keys", "says", "do"),
    [
        ({"text": "DRAW BAR OF THE NORTH GATE"}, "there is no room on plane 2", "shorter text"),
        ({"text": "DRAW BAR R2", "height": 12.0}, "there is no room on plane 2", "height = "),
        ({"text": "R2", "depth": 7.6}, "less than 0.8 mm would stay", "less deep"),
    ],
)
def test_a_text_that_does_not_fit_stays_out_and_says_what_would(keys, says, do) -> None:
    told = made("draw_bar", {**NAME, **keys}).after.told[0]
    assert says in told.why_not
    assert do in told.do


def test_every_letter_and_digit_has_strokes_within_its_field() -> None:
    assert set(string.ascii_uppercase + string.digits) <= set(STROKES)
    for letter, strokes in STROKES.items():
        corners = np.concatenate([np.array(stroke, dtype=float) for stroke in strokes])
        assert corners[:, 0].min() > -0.3, letter
        assert corners[:, 0].max() < WIDE + 0.5, letter
        assert corners[:, 1].min() > -0.6, letter
        assert corners[:, 1].max() < HIGH + 0.6, letter


def test_no_two_letters_are_alike() -> None:
    """Drawn on a grid of half strokes, every pair differs in some field."""

    def drawn(letter: str) -> frozenset[tuple[int, int]]:
        fields = set()
        for stroke in STROKES[letter]:
            for a, b in pairwise(stroke):
                steps = np.linspace(a, b, 40) * 1.5
                fields |= {(round(x), round(y)) for x, y in steps}
        return frozenset(fields)

    pictures = {drawn(letter) for letter in STROKES}
    assert len(pictures) == len(STROKES)


def test_a_letter_without_strokes_is_a_mistake_of_the_sheet() -> None:
    with pytest.raises(ValueError, match="no stroke"):
        Reshape(do="engrave", text="Größe 2", face="top")
