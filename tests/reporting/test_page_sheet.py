"""Sheets that are written on the page."""

from pathlib import Path

from verifier.reporting import page
from verifier.reporting.join_table import join_table
from verifier.reporting.page import Pictured
from verifier.rulebook import load_rules, load_sheet
from verifier.shipped import rules_folder

from .examples import HELD
from .pages import DOUBTFUL, DRAFTED, MEASURED, SHOWN, WAY_PNGS, Opened, read
from .test_join_words import REPORT


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
