"""The command `history`, as it is typed."""

import csv
import io
import re
from contextlib import closing

import numpy as np
import pytest

from tests.ledgers import enter, finish, make_bench, printed, report
from tests.test_printed import Shown
from verifier.bench.lock import hold_lock
from verifier.bench.status import ledger_of_today
from verifier.errors import UnknownName
from verifier.remembered import show_history

TOLD = report()


@pytest.fixture
def bench(tmp_path):
    """Twenty-six scans of three parts; the scanner moves by 0.1 % after the twentieth; the lever's pivot wears."""
    made = make_bench(tmp_path)
    rng = np.random.default_rng(71)
    scales = [*rng.normal(1.003, 0.0002, 20), *rng.normal(1.004, 0.0002, 6)]
    parts = ["latch_lever", "pump_rocker", "fence_clip"]
    reports = [report(parts[k % 3], float(scale)) for k, scale in enumerate(scales[:-1])]
    finish(made, *reports, report("latch_lever", float(scales[-1]), "FAIL", grown={"pivot": 0.4}))
    enter(made, TOLD, 1, printed(TOLD, rng))
    enter(made, TOLD, 1, printed(TOLD, rng))
    return made


def shown(bench, part=None, *, width=100, as_page=False, as_csv=False, ascii_only=False):
    class Here(Shown):
        pass

    Here.width, Here.ascii_only = width, ascii_only
    screen = Here()
    show_history(part, bench.root, screen, as_page=as_page, as_csv=as_csv)
    return screen.out.getvalue()


def test_the_shop_s_parts_scanner_and_filaments_are_told(bench):
    text = " ".join(shown(bench).split())
    assert "bench: 3 parts" in text
    assert re.search(r"latch_lever FAIL 2024-05-26 10 2 PETG Changed since the scan before: pivot\.", text)
    assert "The scanner's scale has moved: +0.3" in text
    assert "PETG bench 220 2" in text


def test_one_part_is_told_from_scan_to_scan(bench):
    text = " ".join(shown(bench, "latch_lever").split())
    assert "Between the last two scans - pivot: +0.400 ± 0.057 mm, worn wider." in text
    assert "pivot to pin 60.010" in text
    assert re.search(r"Prints print entered .* 1 2024-06-01 PETG bench 220 6", text)


@pytest.mark.parametrize("width", [80, 120, 200])
@pytest.mark.parametrize("part", [None, "latch_lever"])
def test_no_line_is_wider_than_the_screen_and_none_steers_it(bench, width, part):
    text = shown(bench, part, width=width)
    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text


def test_a_screen_with_nothing_but_ascii_gets_nothing_else(bench):
    assert shown(bench, ascii_only=True).isascii()
    assert shown(bench, "latch_lever", ascii_only=True).isascii()


def test_it_is_told_while_the_service_holds_the_bench(bench):
    with hold_lock(bench.lock):
        assert "bench: 3 parts" in shown(bench)


def test_a_bench_without_a_past_says_what_to_do(tmp_path):
    empty = make_bench(tmp_path)
    for asked in ({}, {"as_page": True}):
        text = shown(empty, **asked)
        assert text.startswith("Nothing has been measured on this bench yet. Drop a scan into ")
    assert shown(empty, as_csv=True).startswith("part,job,")
    assert not (empty.root / "history.html").exists()


def test_a_part_that_was_never_measured_is_unknown(bench):
    with pytest.raises(UnknownName, match=r"no scan of this part.*latch_lever"):
        show_history("gate_hinge", bench.root, Shown(), as_page=False, as_csv=False)


def test_the_csv_has_a_row_a_size_a_scan_and_lets_no_formula_in(bench):
    finish(bench, report("=cmd()", 1.003))
    rows = list(csv.DictReader(io.StringIO(shown(bench, as_csv=True))))
    assert len(rows) == 27 * 6
    assert {row["part"] for row in rows} == {"latch_lever", "pump_rocker", "fence_clip", "'=cmd()"}
    worn = [row for row in rows if row["part"] == "latch_lever" and row["name"] == "pivot"]
    assert [float(row["corrected_mm"]) for row in worn] == [10.0] * 9 + [10.4]
    assert len(list(csv.DictReader(io.StringIO(shown(bench, "fence_clip", as_csv=True))))) == 8 * 6


def test_the_page_is_written_into_the_bench_and_asks_nothing_of_a_network(bench):
    (bench.held / "latch_lever").mkdir()
    (bench.held / "latch_lever" / "latch_lever.report.html").write_text("page")
    text = shown(bench, as_page=True)
    page = (bench.root / "history.html").read_text(encoding="utf-8")
    assert text.strip() == f"Wrote {bench.root / 'history.html'}"
    assert not re.search(r"""(?:src|href)=["'](?:https?:)?//""", page)
    assert "<script" not in page
    assert 'href="held/latch_lever/latch_lever.report.html"' in page
    assert page.count('class="chart"') == 1
    assert "worn wider" in page
    shown(bench, "latch_lever", as_page=True)
    alone = (bench.root / "latch_lever.history.html").read_text(encoding="utf-8")
    assert "pump_rocker" not in alone.split('id="part-1"')[1]


def test_a_part_s_name_is_no_markup_on_the_page(bench):
    finish(bench, report("<b>[red]lever", 1.003))
    shown(bench, as_page=True)
    page = (bench.root / "history.html").read_text(encoding="utf-8")
    assert "<b>" not in page
    assert "&lt;b&gt;[red]lever" in page
    assert "[red]lever" in shown(bench)


def test_looking_back_leaves_the_ledger_as_it_was(bench):
    ledger_of_today(bench).close()
    before = bench.ledger.read_bytes()
    with closing(ledger_of_today(bench)):
        shown(bench)
        shown(bench, as_csv=True)
    assert bench.ledger.read_bytes() == before
