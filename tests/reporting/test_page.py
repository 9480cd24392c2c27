"""The page, as text and as a browser shows it."""

import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from verifier.inspection import HistogramTable, Inspection
from verifier.mending.solid import Solid
from verifier.reporting import as_json, page
from verifier.reporting.deviation_chart import NOT_COMPARED, chart_of, ramp, steps_of
from verifier.reporting.join_table import join_table
from verifier.reporting.page import Pictured
from verifier.reporting.page_rows import page_rows
from verifier.reporting.paper import paper_of
from verifier.reporting.shown import ShownMesh, shown_mesh
from verifier.reporting.still import painted_png, stills
from verifier.reporting.viewing import first_turn
from verifier.rulebook import draft_sheet_text, load_rules, load_sheet
from verifier.rulebook.draft import DraftRow
from verifier.shipped import rules_folder

from .examples import EVERY, FAILED, HELD, PASSED, PIVOT, UNDECIDED, hostile, size, told_texts
from .test_deviation_words import deviation
from .test_join_words import REPORT
from .test_shown import lever

SHOWN = shown_mesh(lever(1.0), at_most=20_000)
SEEN = Pictured(SHOWN)
DRAFTED = draft_sheet_text(
    "latch_lever", [DraftRow("wall thickness", "thickness", 11.98), DraftRow("overall length", "overall", 120.6)]
)
POINTS_MM = np.array([(0.0, 0.0, 5.0)])
MOST_BYTES = 8_000_000
# WCAG 2.2, 1.4.3: contrast of text at level AA.
LEAST_CONTRAST = 4.5


class Words(HTMLParser):
    """The text a reader sees, and every address the page names."""

    def __init__(self) -> None:
        super().__init__()
        self.text, self.addresses, self.inside = "", [], ""

    def handle_starttag(self, tag, attrs):
        self.inside = tag
        self.addresses += [value for key, value in attrs if key in ("src", "href", "action", "data", "poster")]

    def handle_data(self, data):
        if self.inside not in ("script", "style"):
            self.text += data


def read(html: str) -> Words:
    words = Words()
    words.feed(html)
    return words


def squeezed(text: str) -> str:
    return " ".join(text.split())


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


@pytest.fixture
def opened(browser: Browser, tmp_path: Path) -> Iterator["Opened"]:
    opened = Opened(browser, tmp_path)
    yield opened
    opened.tab.close()
    assert opened.complaints == []
    assert opened.requests == [opened.address]


class Opened:
    """A page in the browser, with what the browser complained of and asked for."""

    def __init__(self, browser: Browser, folder: Path) -> None:
        self.file = folder / "latch_lever.report.html"
        self.address = self.file.as_uri()
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.tab: Page = browser.new_page(viewport={"width": 1000, "height": 700})
        self.tab.on("console", lambda message: self.complaints.append(message.text))
        self.tab.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.tab.on("request", lambda request: self.requests.append(request.url))

    def show(
        self, inspection: Inspection, pictured: Pictured = SEEN, *, width: int = 1000, scheme: str = "light"
    ) -> Page:
        self.file.write_bytes(page.render(inspection, pictured).encode())
        self.tab.set_viewport_size({"width": width, "height": 700})
        self.tab.emulate_media(color_scheme=scheme)
        self.tab.goto(self.address)
        self.tab.wait_for_selector("#picture.drawn")
        return self.tab


PIXELS = """() => {
  const counts = {measured: 0, filled: 0, rebuilt: 0, nothing: 0};
  const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  for (let at = 0; at < data.length; at += 4) {
    const [r, g, b, a] = data.slice(at, at + 4);
    if (a === 0) counts.nothing += 1;
    else if (r > 1.8 * b) counts.filled += 1;
    else if (b > 1.8 * r) counts.rebuilt += 1;
    else counts.measured += 1;
  }
  return counts;
}"""


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


DRAWN = "() => new Promise((drawn) => requestAnimationFrame(() => requestAnimationFrame(drawn)))"


def on_paper(count: int) -> tuple[Inspection, Pictured]:
    """A report as full as a part with many bores has it."""
    bore = PASSED.bores[0].model_copy(update={"rebuilt": True, "made_for": "M6, medium fit", "drill_mm": 6.6})
    told = UNDECIDED.model_copy(
        update={
            "sizes": tuple(size(f"size {k} of the long arm", verdict="PASS") for k in range(count)),
            "bores": (bore,) * 8,
            "cautions": ("Talc dust is harmful: take another powder, or wear a mask and follow your local rules.",)
            * 14,
        }
    )
    return told, Pictured(SHOWN, stills=stills(told, SHOWN))


@pytest.mark.parametrize("count", [2, 12, 60])
def test_what_is_printed_is_one_sheet_of_a4_with_both_stills(opened: Opened, count: int):
    told, pictured = on_paper(count)
    tab = opened.show(told, pictured)
    assert not tab.locator(".paper").is_visible()
    paper = tab.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
    width_pt, height_pt = map(float, re.search(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", paper).groups())
    assert (width_pt, height_pt) == pytest.approx((595.3, 841.9), abs=1)  # A4, ISO 216: 210 x 297 mm
    tab.emulate_media(media="print")
    assert tab.locator(".controls, main").filter(visible=True).count() == 0
    assert [image.evaluate("image => image.naturalWidth") > 0 for image in tab.locator(".paper img").all()] == [
        True
    ] * 2
    assert tab.locator(".paper").evaluate("paper => paper.scrollWidth <= paper.clientWidth")


def test_sizes_that_find_no_room_on_paper_have_passed_and_are_counted():
    told, _ = on_paper(60)
    failed = told.sizes[-1].model_copy(update={"name": "the last", "verdict": "FAIL"})
    told = told.model_copy(update={"sizes": (*told.sizes[:-1], failed)})
    paper = paper_of(told, ())
    assert paper.sizes[-1].name == "the last"
    assert len(paper.sizes) + paper.left_out == 60


def test_what_is_typed_comes_out_as_a_sheet_the_rules_take(opened: Opened, tmp_path: Path):
    tab = opened.show(HELD, Pictured(SHOWN, drafted=DRAFTED))
    boxes = tab.locator("input.reading")
    boxes.nth(0).fill("12,04")
    boxes.nth(1).fill("twelve")
    assert boxes.nth(1).get_attribute("aria-invalid") == "true"
    assert tab.locator("#typing-state").inner_text() == (
        "1 of what is typed is no length: write millimetres such as 24.06."
    )
    boxes.nth(1).fill("120.6")
    with tab.expect_download() as saving:
        tab.click("#save-sheet")
    opened.requests = [address for address in opened.requests if not address.startswith("blob:")]
    assert saving.value.suggested_filename == "latch_lever.toml"
    saving.value.save_as(tmp_path / "latch_lever.toml")
    sheet = load_sheet(tmp_path / "latch_lever.toml", load_rules(rules_folder()))
    assert [(row.name, row.reading) for row in sheet.rows] == [("wall thickness", 12.04), ("overall length", 120.6)]


def test_a_row_left_empty_stays_as_it_was_drafted(opened: Opened):
    tab = opened.show(HELD, Pictured(SHOWN, drafted=DRAFTED))
    tab.locator("input.reading").nth(0).fill("12.04")
    with tab.expect_download() as saving:
        tab.click("#save-sheet")
    opened.requests = [address for address in opened.requests if not address.startswith("blob:")]
    saved = Path(saving.value.path()).read_text(encoding="utf-8").split("\n")
    drafted = DRAFTED.split("\n")
    assert [(was, now) for was, now in zip(drafted, saved, strict=True) if was != now] == [
        ("# reading =    # mm; on the scan 11.98", "reading = 12.04")
    ]


DOUBTFUL = UNDECIDED.model_copy(update={"join": join_table(REPORT)})
WAY_PNGS = tuple(painted_png(SHOWN, np.array([shade] * 3), [np.eye(3)], 56, 27) for shade in ((200,) * 3, (90,) * 3))
MEASURED = 'part = "latch_lever"\ndescription = "north"\n\n[[size]]\nname = "a"\nkind = "overall"\nalong = "length"\n'


def test_the_right_way_of_putting_scans_together_is_one_click_and_one_line(opened: Opened, tmp_path: Path):
    tab = opened.show(DOUBTFUL, Pictured(SHOWN, ways=WAY_PNGS, sheet=MEASURED))
    assert tab.locator(".choice img").count() == 2
    with tab.expect_download() as saving:
        tab.get_by_role("button", name="Way 2 is right").click()
    opened.requests = [address for address in opened.requests if not address.startswith("blob:")]
    saving.value.save_as(tmp_path / "latch_lever.toml")
    assert saving.value.suggested_filename == "latch_lever.toml"
    assert load_sheet(tmp_path / "latch_lever.toml", load_rules(rules_folder())).join == 2
    assert (tmp_path / "latch_lever.toml").read_text(encoding="utf-8") == MEASURED.replace("\n", "\njoin = 2\n", 1)
    assert tab.locator("button.way[aria-pressed=true]").inner_text() == "Way 2 is right"


def test_the_way_and_the_readings_go_into_one_drafted_sheet(opened: Opened, tmp_path: Path):
    held = HELD.model_copy(update={"join": join_table(REPORT)})
    tab = opened.show(held, Pictured(SHOWN, drafted=DRAFTED, ways=WAY_PNGS, sheet=DRAFTED))
    tab.locator("input.reading").nth(0).fill("twelve")
    tab.get_by_role("button", name="Way 1 is right").click()
    assert tab.locator("button.way[aria-pressed=true]").count() == 0
    tab.locator("input.reading").nth(0).fill("12.04")
    with tab.expect_download():
        tab.get_by_role("button", name="Way 1 is right").click()
    with tab.expect_download() as saving:
        tab.click("#save-sheet")
    opened.requests = [address for address in opened.requests if not address.startswith("blob:")]
    saving.value.save_as(tmp_path / "latch_lever.toml")
    sheet = load_sheet(tmp_path / "latch_lever.toml", load_rules(rules_folder()))
    assert (sheet.join, sheet.rows[0].reading) == (1, 12.04)


def test_without_a_sheet_at_hand_the_page_says_the_line():
    words = read(page.render(DOUBTFUL, Pictured(SHOWN, ways=WAY_PNGS))).text
    assert "Write join = 1, or the number of the other way, into the sheet latch_lever.toml." in words
    assert "is right" not in words


def test_the_part_as_it_will_be_printed_is_one_click_away(opened: Opened):
    solid = lever(1.0)
    plain = Solid(solid.mesh, np.zeros_like(solid.origin))
    tab = opened.show(PASSED, Pictured(shown_mesh(plain, at_most=20_000), SHOWN))
    assert tab.evaluate(PIXELS)["rebuilt"] == 0
    tab.get_by_label("as it will be printed").check()
    tab.evaluate(DRAWN)
    assert tab.evaluate(PIXELS)["rebuilt"] > 500


SPREAD = HistogramTable(limit_mm=0.5, shares=(0.0,) * 5 + (0.2,) + (0.0,) * 4 + (0.6, 0.2) + (0.0,) * 9)
DEVIATED = PASSED.model_copy(update={"deviation": deviation(histogram=SPREAD)})
# The far end stands 0.5 mm proud, the near end lies 0.5 mm inside; the very tip was not compared.
AWAY_MM = np.where(SHOWN.vertices_mm[:, 0] > 39.0, np.nan, np.sign(SHOWN.vertices_mm[:, 0]) * 0.5)
COLOURED = Pictured(SHOWN, SHOWN, away_mm=AWAY_MM)

HUES = """() => {
  const counts = {inside: 0, proud: 0};
  const {data} = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  for (let at = 0; at < data.length; at += 4) {
    const [r, g, b, a] = data.slice(at, at + 4);
    if (a > 0 && b > 2 * r) counts.inside += 1;
    if (a > 0 && r > 2 * b) counts.proud += 1;
  }
  return counts;
}"""


def test_the_colours_show_what_stands_proud_and_what_lies_inside(opened: Opened):
    tab = opened.show(DEVIATED, COLOURED)
    assert tab.evaluate(HUES)["proud"] < 0.1 * tab.evaluate("canvas.width * canvas.height")
    tab.get_by_role("radio", name="how far it is off").check()
    tab.evaluate(DRAWN)
    hues = tab.evaluate(HUES)
    # Half the part each, as the eye sees it; the bore, deep in shadow, lies on the inner half.
    assert hues["proud"] > 20_000
    assert hues["inside"] == pytest.approx(hues["proud"], rel=0.35)
    tab.get_by_label("as it will be printed").check()
    tab.evaluate(DRAWN)
    assert tab.get_by_label("where the surface comes from").is_checked()
    assert tab.evaluate(HUES)["inside"] < hues["inside"]


def test_the_chart_has_a_column_a_step_as_high_as_its_share():
    chart = chart_of(DEVIATED.deviation)
    assert chart is not None
    heights = [column.height for column in chart.columns]
    assert heights[10] == 120.0
    assert (heights[5], heights[11]) == (40.0, 40.0)
    assert sum(height > 0 for height in heights) == 3
    assert chart.columns[10].words == "-0.024 to +0.024 mm: 60.0 %"


def test_the_scale_of_colours_is_told_apart_without_its_hues():
    """Light falls from the middle to both ends, so grey paper shows how far; blue against brown shows which way."""
    light = [0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in ramp(21)]
    assert light[:11] == sorted(light[:11])
    assert light[10:] == sorted(light[10:], reverse=True)
    assert ramp(21)[0][2] > 2 * ramp(21)[0][0]
    assert ramp(21)[20][0] > 2 * ramp(21)[20][2]


def test_a_corner_that_was_not_compared_has_no_step():
    steps = steps_of(np.array([-9.0, -0.5, 0.0, 0.5, np.nan]), SPREAD)
    assert steps.tolist() == [0, 0, 10, 20, NOT_COMPARED]


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
