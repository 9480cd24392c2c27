"""The page as a browser shows it."""

import json
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from verifier.inspection import Inspection
from verifier.mending.solid import Solid
from verifier.reporting import as_json
from verifier.reporting.page import Pictured
from verifier.reporting.shown import shown_mesh
from verifier.reporting.viewing import first_turn

from .examples import FAILED, HELD, PASSED, PIVOT, UNDECIDED, hostile
from .pages import (
    COLOURED,
    DEVIATED,
    DOUBTFUL,
    DRAFTED,
    DRAWN,
    MEASURED,
    PIXELS,
    POINTS_MM,
    SEEN,
    SHOWN,
    WAY_PNGS,
    Opened,
)
from .test_shown import lever

# WCAG 2.2, 1.4.3: contrast of text at level AA.
LEAST_CONTRAST = 4.5


def test_the_picture_shows_measured_filled_and_rebuilt_surface(opened: Opened):
    seen = opened.show(PASSED).evaluate(PIXELS)
    # Every face is seen by its share that points at the eye: the disc of 4 mm radius by that of the top.
    turn = np.abs(first_turn(SHOWN, POINTS_MM))
    top_mm2 = (80 * 30 - np.pi * 25) * turn[2, 2]
    sides_mm2 = 80 * 10 * turn[2, 1] + 30 * 10 * turn[2, 0]
    disc_mm2 = np.pi * 16 * turn[2, 2]
    share = seen["filled"] / (seen["measured"] + seen["filled"])
    assert share == pytest.approx(disc_mm2 / (top_mm2 + sides_mm2), rel=0.15)  # its border is one 1 mm triangle wide
    assert seen["rebuilt"] > 500
    assert seen["nothing"] > 0.1 * sum(seen.values())  # there is room about the part


def test_a_row_that_is_clicked_lights_up_its_callout_and_again_lets_go(opened: Opened):
    tab = opened.show(FAILED)
    tab.click("tbody[data-row='3'] th")
    assert tab.locator(".balloon.on").all_inner_texts() == ["3"]
    assert tab.locator(".dimension.on").count() == 1
    assert tab.locator("tbody[data-row='3'] .pick").get_attribute("aria-pressed") == "true"
    tab.click("tbody[data-row='3'] th")
    assert tab.locator(".balloon.on, tbody.on").count() == 0


def test_a_callout_that_is_clicked_lights_up_its_row(opened: Opened):
    tab = opened.show(FAILED)
    tab.get_by_role("button", name="2 pivot bore: PASS").click()
    assert tab.locator("tbody.on").get_attribute("data-row") == "2"


def test_the_keyboard_alone_reaches_rows_and_turns_the_part(opened: Opened):
    tab = opened.show(FAILED)
    tab.focus("tbody[data-row='2'] .pick")
    tab.keyboard.press("Enter")
    assert tab.locator(".balloon.on").all_inner_texts() == ["2"]
    before = tab.evaluate("state.turn.slice()")
    tab.focus("canvas")
    tab.keyboard.press("ArrowLeft")
    assert tab.evaluate("state.turn") != before
    tab.keyboard.press("0")
    assert tab.evaluate("state.turn") == before


def test_dragging_turns_the_part_and_it_stays_a_rotation(opened: Opened):
    tab = opened.show(PASSED)
    box = tab.locator("canvas").bounding_box()
    assert box is not None
    before = np.array(tab.evaluate("state.turn")).reshape(3, 3)
    tab.mouse.move(box["x"] + 20, box["y"] + 20)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 220, box["y"] + 90, steps=4)
    tab.mouse.up()
    turn = np.array(tab.evaluate("state.turn")).reshape(3, 3)
    assert not np.allclose(turn, before, atol=0.1)
    assert turn @ turn.T == pytest.approx(np.eye(3), abs=1e-5)  # the page is given the turn to six decimals
    assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-5)


def test_every_size_with_a_place_has_a_callout_that_lies_on_the_part(opened: Opened):
    tab = opened.show(UNDECIDED)
    assert tab.locator(".balloon").all_inner_texts() == ["1", "2", "3"]  # the fourth size was not found
    seen = tab.evaluate(
        "project(inspection.sizes[1].points_mm[0], solid, {turn: [1,0,0,0,1,0,0,0,1], scale: 2, middle: [0, 0]})"
    )
    middle = (SHOWN.vertices_mm.min(axis=0) + SHOWN.vertices_mm.max(axis=0)) / 2
    x, y, z = np.array(PIVOT.points_mm[0]) - middle
    assert seen == pytest.approx([2 * x, -2 * y, z], abs=1e-5)


def test_sizes_still_to_be_measured_bear_their_names_in_the_picture(opened: Opened):
    tab = opened.show(HELD)
    assert tab.locator(".balloon").all_inner_texts() == ["1 wall thickness", "2 overall length"]


def test_the_report_can_be_saved_from_the_page(opened: Opened):
    tab = opened.show(PASSED)
    with tab.expect_download() as saving:
        tab.click("#save")
    assert saving.value.suggested_filename == "latch_lever.report.json"
    assert json.loads(Path(saving.value.path()).read_text(encoding="utf-8")) == json.loads(as_json.render(PASSED))
    opened.requests = [address for address in opened.requests if not address.startswith("blob:")]


@pytest.mark.parametrize("width", [360, 760, 1000, 1500, 1900])
@pytest.mark.parametrize("inspection", [UNDECIDED, hostile()], ids=["undecided", "hostile"])
def test_nothing_sticks_out_sideways(opened: Opened, inspection: Inspection, width: int):
    tab = opened.show(inspection, width=width)
    assert tab.evaluate("document.documentElement.scrollWidth") <= width
    wide = "[...document.querySelectorAll('.card')].filter((card) => card.scrollWidth > card.clientWidth).length"
    assert tab.evaluate(wide) == 0


CONTRAST = """() => {
  const numbers = (colour) => colour.match(/[\\d.]+/g).map(Number);
  const light = (colour) => {
    const [r, g, b] = numbers(colour).map((full) => full / 255)
      .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const ground = (element) => {
    const colour = getComputedStyle(element).backgroundColor;
    return numbers(colour)[3] === 0 ? ground(element.parentElement) : colour;
  };
  const worded = [...document.querySelectorAll("body *")].filter((element) => element.checkVisibility() &&
    [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim()) &&
    !["SCRIPT", "STYLE", "NOSCRIPT"].includes(element.tagName));
  return worded.map((element) => {
    const [one, two] = [light(getComputedStyle(element).color), light(ground(element))];
    return [(Math.max(one, two) + 0.05) / (Math.min(one, two) + 0.05), element.textContent.trim().slice(0, 40)];
  });
}"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("inspection", [PASSED, FAILED, UNDECIDED], ids=["passed", "failed", "undecided"])
def test_every_word_stands_out_from_its_ground_by_day_and_by_night(opened: Opened, inspection: Inspection, scheme: str):
    tab = opened.show(inspection, scheme=scheme)
    tab.click("tbody[data-row='1'] th")
    contrasts = tab.evaluate(CONTRAST)
    assert len(contrasts) > 40
    assert [entry for entry in contrasts if entry[0] < LEAST_CONTRAST] == []


def test_hostile_names_run_no_script(opened: Opened):
    tab = opened.show(hostile())
    tab.on("dialog", lambda dialog: opened.complaints.append(dialog.message))
    tab.click("tbody[data-row='1'] .pick")
    assert tab.locator("img").count() == 0
    assert tab.locator("h1").inner_text().startswith("[red]x[/] <script>alert(1)</script>")


def test_the_part_as_it_will_be_printed_is_one_click_away(opened: Opened):
    solid = lever(1.0)
    plain = Solid(solid.mesh, np.zeros_like(solid.origin))
    tab = opened.show(PASSED, Pictured(shown_mesh(plain, at_most=20_000), SHOWN))
    assert tab.evaluate(PIXELS)["rebuilt"] == 0
    tab.get_by_label("as it will be printed").check()
    tab.evaluate(DRAWN)
    assert tab.evaluate(PIXELS)["rebuilt"] > 500


@pytest.mark.parametrize(
    ("inspection", "pictured"),
    [
        (PASSED, Pictured(SHOWN, SHOWN)),
        (DEVIATED, COLOURED),
        (FAILED, SEEN),
        (HELD, Pictured(SHOWN, drafted=DRAFTED)),
        (DOUBTFUL, Pictured(SHOWN, ways=WAY_PNGS, sheet=MEASURED)),
        (UNDECIDED, SEEN),
    ],
    ids=["passed", "deviated", "failed", "typed", "doubtful", "undecided"],
)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_accessibility_check_finds_nothing(opened: Opened, inspection: Inspection, pictured: Pictured, scheme: str):
    """The rules of WCAG 2.0 to 2.2, levels A and AA, that axe-core checks by itself."""
    tab = opened.show(inspection, pictured, scheme=scheme)
    levels = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    # Put in by the debugger: the page itself forbids every script but its own.
    found = Axe().run(tab, options={"runOnly": {"type": "tag", "values": levels}})
    assert [(rule["id"], [node["html"] for node in rule["nodes"]]) for rule in found.response["violations"]] == []
    assert len(found.response["passes"]) > 15
