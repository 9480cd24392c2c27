"""The page, as text."""

import json
import re

import numpy as np
import pytest

from verifier.inspection import Inspection
from verifier.reporting import as_json, page
from verifier.reporting.page import Pictured
from verifier.reporting.page_rows import page_rows
from verifier.reporting.shown import ShownMesh
from verifier.reporting.viewing import first_turn

from .examples import EVERY, PASSED, hostile, size, told_texts
from .pages import POINTS_MM, SEEN, SHOWN, read, squeezed

MOST_BYTES = 8_000_000


@pytest.mark.parametrize("inspection", EVERY.values(), ids=EVERY.keys())
def test_everything_said_stands_on_the_page(inspection: Inspection):
    shown = squeezed(read(page.render(inspection, SEEN)).text)
    assert [text for text in told_texts(inspection) if text not in shown] == []


@pytest.mark.parametrize("inspection", [*EVERY.values(), hostile()], ids=[*EVERY, "hostile"])
def test_the_page_carries_the_json_report_whole(inspection: Inspection):
    html = page.render(inspection, SEEN)
    inside = re.search(r'<script type="application/json" id="inspection">(.*?)</script>', html, re.DOTALL)
    assert inside is not None
    assert json.loads(inside[1]) == json.loads(as_json.render(inspection))


def test_the_page_names_no_address_and_is_small_enough_to_send():
    html = page.render(PASSED, SEEN)
    assert read(html).addresses == ["data:,"]
    assert len(html.encode()) < MOST_BYTES


def test_no_text_from_outside_becomes_part_of_the_page():
    html = page.render(hostile(), SEEN)
    assert html.count("<script") == page.render(PASSED, SEEN).count("<script")
    assert "<img" not in html
    assert "{{ 7 * 7 }}" in html
    assert all(char == "\n" or char.isprintable() for char in read(html).text)


def test_the_part_is_first_seen_along_its_shortest_side_longest_across():
    turn = first_turn(SHOWN, POINTS_MM)
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(turn) == pytest.approx(1.0)
    across, up, towards = np.abs(turn)
    assert across.argmax() == 0
    assert up.argmax() == 1
    assert towards.argmax() == 2


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_the_side_with_the_sizes_faces_the_eye_at_first(side: float):
    turn = first_turn(SHOWN, np.array([(30.0, 10.0, side * 5.0), (-30.0, 10.0, side * 5.0)]))
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert side * turn[2, 2] > 0.7  # the cosine of the tilt is 0.79


def test_a_part_without_surface_still_has_a_page():
    nothing = ShownMesh(np.zeros((0, 3), np.float32), np.zeros((0, 3), np.int32), np.zeros(0, np.uint8))
    assert "PASS" in page.render(PASSED, Pictured(nothing))


@pytest.mark.parametrize(
    ("corrected_mm", "beyond", "at"),
    # The limits, 119.74 and 120.34, are drawn at 25 and 135.
    [(120.04, "", 80.0), (120.34, "", 135.0), (121.5, "above", 347.7), (118.0, "below", -294.0)],
)
def test_a_bar_on_the_page_puts_the_size_between_or_beyond_its_limits(corrected_mm: float, beyond: str, at: float):
    (row,) = page_rows((size("length", corrected_mm=corrected_mm),))
    assert row.bar is not None
    assert (row.bar.beyond, row.bar.at) == (beyond, pytest.approx(at, abs=0.5))
