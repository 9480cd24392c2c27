"""The history page as a browser shows it: no complaint, no request, usable by keyboard, found sound by axe-core."""

from contextlib import closing

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.ledgers import enter, finish, make_bench, printed, report
from verifier.bench.past import shop_past
from verifier.bench.status import history_of
from verifier.reporting import history_page
from verifier.rulebook import load_rules

LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    """Twelve scans of two parts, the last one worn, and three prints."""
    bench = make_bench(tmp_path_factory.mktemp("history"))
    rng = np.random.default_rng(81)
    parts = ["latch_lever", "pump_rocker"]
    scans = [report(parts[k % 2], 1.003 + rng.normal(0, 0.0002)) for k in range(11)]
    finish(bench, *scans, report("pump_rocker", 1.0041, "FAIL", grown={"pivot": 0.4}))
    for _ in range(3):
        enter(bench, scans[0], 1, printed(scans[0], rng))
    with closing(history_of(bench)) as history:
        past = shop_past(bench, history, load_rules(bench.rules))
    page = bench.root / "history.html"
    page.write_text(history_page.render(past, {}), encoding="utf-8")
    return page.as_uri()


@pytest.fixture
def tab(browser, address, request):
    complaints, requests = [], []
    tab = browser.new_page(viewport={"width": 1000, "height": 700}, color_scheme=getattr(request, "param", "light"))
    tab.on("console", lambda message: complaints.append(message.text))
    tab.on("request", lambda asked: requests.append(asked.url))
    tab.goto(address)
    yield tab
    tab.close()
    assert complaints == []
    assert requests == [address]


@pytest.mark.parametrize("tab", ["light", "dark"], indirect=True)
def test_the_accessibility_check_finds_nothing(tab):
    tab.evaluate("document.querySelectorAll('details').forEach((each) => { each.open = true; })")
    found = Axe().run(tab, options={"runOnly": {"type": "tag", "values": LEVELS}})
    assert [(rule["id"], [node["html"] for node in rule["nodes"]]) for rule in found.response["violations"]] == []
    assert len(found.response["passes"]) > 15


def test_the_keyboard_reaches_a_part_and_opens_its_sizes(tab):
    tab.keyboard.press("Tab")
    assert tab.evaluate("document.activeElement.textContent") == "Parts"
    tab.get_by_role("link", name="pump_rocker", exact=True).press("Enter")
    assert tab.evaluate("location.hash") == "#part-1"
    summary = tab.locator("#part-1 summary").first
    summary.focus()
    tab.keyboard.press("Enter")
    assert tab.locator("#part-1 table").first.is_visible()
    assert "worn wider" in tab.locator("#part-1").inner_text()


@pytest.mark.parametrize("width", [360, 1000, 1800])
def test_a_narrow_window_scrolls_tables_and_not_the_page(tab, width):
    tab.set_viewport_size({"width": width, "height": 700})
    assert tab.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_the_chart_shows_every_scan_and_rings_what_chance_seldom_makes(tab):
    assert tab.locator("svg.chart circle").count() == 12
    assert tab.locator("svg.chart circle.out").count() >= 1
    assert tab.locator("svg.chart line.limit").count() == 2
