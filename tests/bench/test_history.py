"""What the ledger remembers: each finished scan once, each print once, whatever happens in between."""

import dataclasses
import sqlite3
from contextlib import closing

import pytest
from service import digest, drop, files_below, rows, serve_in_a_process, serve_until_idle, serving, until

from verifier.bench import Ready, status
from verifier.bench.asking import ask_bench
from verifier.bench.crashpoint import CrashPoint
from verifier.bench.history import History
from verifier.bench.print_entry import PrintEntry, PrintRowEntry
from verifier.bench.prints_file import prints_beside
from verifier.bench.requests import EnterPrint, UndoPrint, leave_request, requests_on
from verifier.bench.schema import ADDED, FIRST, VERSION
from verifier.bench.status import ledger_of_today
from verifier.errors import WrongUsage

TABLES = ("jobs", "scans", "sizes", "prints", "print_sizes")
ENTRY = PrintEntry(
    part="latch_lever",
    job=1,
    filament="PETG",
    printer="bench 220",
    condition=None,
    rows=(
        PrintRowEntry(
            name="length", kind="overall", model_mm=84.25, u_model_mm=0.01, expected_mm=84.0, rise=0.0, walls=2,
            upright_hole=False, read_mm=83.96, u_mm=0.02,
        ),
    ),
)  # fmt: skip


def history(bench):
    ledger_of_today(bench).close()
    return closing(History.open_to_read(bench.ledger))


def test_a_finished_scan_s_numbers_stand_in_the_ledger(bench):
    drop(bench, "latch_lever.off", "PASS\n1.0031\n")
    drop(bench, "fence_clip.off", "FAIL\n0.9988\n")
    serve_until_idle(bench, "stubs:measuring")
    with history(bench) as past:
        told = {scan.part: scan for scan in past.scans()}
        sizes = past.sizes_of("latch_lever")
    assert (told["latch_lever"].verdict, told["latch_lever"].scale) == ("PASS", 1.0031)
    assert (told["fence_clip"].verdict, told["fence_clip"].scale) == ("FAIL", 0.9988)
    assert told["latch_lever"].sha256 == digest("PASS\n1.0031\n")
    assert [(size.name, size.corrected_mm) for size in sizes] == [
        ("overall length", 120.052),
        ("pivot bore", 12.01),
        ("pivot to pin", 80.31),
    ]
    length = sizes[0].on_print  # 120.612 on the scan, which is 0.31 % large, enlarged by 1 / (1 - 0.5 %)
    assert length.model_mm == pytest.approx(120.612 / 1.0031 / 0.995, rel=1e-12)
    assert (length.walls, length.rise, length.upright_hole) == (2, 0.0, False)


def test_a_scan_without_a_report_has_its_job_and_no_history(bench):
    drop(bench, "latch_lever.off", "PASS\n")
    serve_until_idle(bench, "stubs:normal")
    with history(bench) as past:
        assert past.scans() == ()
    assert [row["state"] for row in rows(bench)] == ["done"]


def test_a_report_of_an_earlier_result_is_not_taken_for_this_one_s(bench):
    drop(bench, "latch_lever.off", "PASS\n1.0031\n")
    serve_until_idle(bench, "stubs:measuring")
    drop(bench, "latch_lever.off", "REFUSED\n")
    serve_until_idle(bench, "stubs:normal")
    drop(bench, "latch_lever.off", "PASS\nno numbers")
    serve_until_idle(bench, "stubs:normal")
    with history(bench) as past:
        assert [(scan.job, scan.scale) for scan in past.scans()] == [(1, 1.0031)]


@pytest.mark.parametrize("point", [CrashPoint.ORIGINAL_FILED, CrashPoint.DONE_RECORDED, CrashPoint.MESH_PLACED])
def test_a_kill_about_the_end_of_a_job_keeps_its_numbers_once(bench, point):
    drop(bench, "latch_lever.off", "PASS\n1.0031\n")
    killed = serve_in_a_process(bench, "stubs:measuring", point)
    killed.join()
    assert killed.exitcode != 0
    serve_until_idle(bench, "stubs:measuring")
    with history(bench) as past:
        assert [(scan.job, scan.scale) for scan in past.scans()] == [(1, 1.0031)]
        assert len(past.sizes_of("latch_lever")) == 3


def test_a_held_scan_that_runs_again_has_its_newest_numbers_once(bench):
    drop(bench, "latch_lever.off", "as the sheet says\n1.0031\n")
    serve_until_idle(bench, "stubs:measuring")
    (bench.rules / "sheets" / "latch_lever.toml").write_text("reading = 1")
    serve_until_idle(bench, "stubs:measuring")
    with history(bench) as past:
        assert [(scan.job, scan.verdict) for scan in past.scans()] == [(1, "PASS")]


def test_a_print_is_entered_beside_a_running_service_and_can_be_undone(bench):
    drop(bench, "latch_lever.off", "PASS\n1.0031\n")
    with serving(bench, "stubs:measuring") as events:
        until(lambda: any(isinstance(event, Ready) for event in events))
        assert ask_bench(bench, EnterPrint(entry=ENTRY))
        with history(bench) as past:
            (kept,) = past.prints()
        assert prints_beside(bench.rules) == (kept,)
        assert ask_bench(bench, UndoPrint(number=kept.number))
    assert prints_beside(bench.rules) == ()
    assert (kept.part, kept.filament, kept.rows[0].read_mm) == ("latch_lever", "PETG", 83.96)
    with history(bench) as past:
        assert past.prints() == ()


def test_the_file_of_prints_is_written_anew_where_it_is_missing_or_old(bench):
    leave_request(bench, EnterPrint(entry=ENTRY))
    serve_until_idle(bench)
    (told,) = prints_beside(bench.rules)
    for text in (None, "[]", "no json"):
        file = bench.root / ".work" / "prints.json"
        file.unlink() if text is None else file.write_text(text)
        serve_until_idle(bench)
        assert prints_beside(bench.rules) == (told,)


def test_rules_that_lie_on_no_bench_have_no_prints_and_a_spoilt_file_says_so(bench, tmp_path):
    assert prints_beside(tmp_path / "rules") == ()
    (bench.root / ".work" / "prints.json").write_text('[{"number": 1}]')
    with pytest.raises(WrongUsage, match="not as the verifier writes it"):
        prints_beside(bench.rules)


def test_a_print_whose_request_is_carried_out_twice_is_kept_once(bench):
    leave_request(bench, EnterPrint(entry=ENTRY))
    leave_request(bench, EnterPrint(entry=ENTRY))  # as after a crash between carrying out and removing
    serve_until_idle(bench)
    assert requests_on(bench) == []
    with history(bench) as past:
        assert [kept.number for kept in past.prints()] == [1]


@pytest.mark.parametrize("verdict", ["PASS", "FAIL"])
def test_the_scan_of_a_print_is_entered_as_a_print_and_takes_nothing_s_place(bench, verdict):
    drop(bench, "latch_lever.off", "PASS\n1.0000\n")
    serve_until_idle(bench, "stubs:print_measuring")
    (bench.held / "latch_lever").mkdir()
    (bench.held / "latch_lever" / "note.txt").write_text("held before")
    drop(bench, "latch_lever.print.off", f"{verdict}\n0.004\n")
    serve_until_idle(bench, "stubs:print_measuring")
    with history(bench) as past:
        (kept,) = past.prints()
        assert [scan.job for scan in past.scans()] == [1]
    assert (kept.part, kept.job, kept.condition) == ("latch_lever", 1, None)
    assert kept.u_scale == 0.00018  # the example report's
    assert [(each.row.name, each.read_mm) for each in kept.rows] == [("overall length", pytest.approx(120.04 * 0.996))]
    assert kept.rows[0].row.model_mm == pytest.approx(120.612 / 0.995)
    assert (bench.slicer / "latch_lever.3mf").is_file()
    assert (bench.held / "latch_lever" / "note.txt").is_file()
    assert files_below(bench.held / "latch_lever.print") == ["latch_lever.print.report.json"]
    assert [(row["part"], row["state"], row["verdict"], row["superseded_by"]) for row in rows(bench)] == [
        ("latch_lever", "done", "PASS", None),
        ("latch_lever.print", "done", verdict, None),
    ]
    assert status(bench.root).overtaken == ()


@pytest.mark.parametrize("point", [CrashPoint.HELD_PLACED, CrashPoint.ORIGINAL_FILED, CrashPoint.DONE_RECORDED])
def test_a_kill_about_the_end_of_a_print_s_scan_enters_it_once(bench, point):
    drop(bench, "latch_lever.off", "PASS\n1.0000\n")
    serve_until_idle(bench, "stubs:print_measuring")
    drop(bench, "latch_lever.print.off", "PASS\n0.004\n")
    serve_in_a_process(bench, "stubs:print_measuring", point).join()
    serve_until_idle(bench, "stubs:print_measuring")
    drop(bench, "latch_lever.print.off", "PASS\n0.004\n")  # and the same scan once more is the same print
    serve_until_idle(bench, "stubs:print_measuring")
    with history(bench) as past:
        assert [kept.number for kept in past.prints()] == [1]
        assert prints_beside(bench.rules) == past.prints()


def test_the_scan_of_a_print_of_an_unknown_part_is_reported_and_teaches_nothing(bench):
    drop(bench, "latch_lever.print.off", "FAIL\n0.004\n")
    serve_until_idle(bench, "stubs:print_measuring")
    with history(bench) as past:
        assert past.prints() == ()
    assert files_below(bench.held / "latch_lever.print") == ["latch_lever.print.report.json"]


def test_an_edited_sheet_runs_the_held_scan_of_the_part_s_print_again(bench):
    drop(bench, "latch_lever.print.off", "FAIL\n0.004\n")
    serve_until_idle(bench, "stubs:print_measuring")
    (bench.rules / "sheets" / "latch_lever.toml").write_text("reading = 1")
    serve_until_idle(bench, "stubs:print_measuring")
    assert [row["attempt"] for row in rows(bench)] == [2]


def as_of_version(bench, version):
    """The bench's ledger taken back to an earlier version, its jobs as they are."""
    with closing(sqlite3.connect(bench.ledger)) as db:
        db.row_factory = sqlite3.Row
        kept = {table: [dict(row) for row in db.execute(f"SELECT * FROM {table}")] for table in TABLES}
    for file in bench.root.glob("ledger.db*"):
        file.unlink()
    with closing(sqlite3.connect(bench.ledger)) as db:
        db.executescript(";".join((FIRST, *ADDED[: version - 1], f"PRAGMA user_version = {version}")))
        for table in TABLES:
            known = {row[1] for row in db.execute(f"PRAGMA table_info({table})")}
            for row in kept[table] if known else ():
                names = [name for name in row if name in known]
                marks = ", ".join("?" * len(names))
                db.execute(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks})", [row[name] for name in names])
        db.commit()


@pytest.mark.parametrize("version", range(1, VERSION))
def test_a_ledger_of_an_earlier_version_finds_its_history_in_the_reports_that_lie_there(bench, version):
    drop(bench, "latch_lever.off", "PASS\n1.0010\n")
    drop(bench, "fence_clip.off", "FAIL\n1.0020\n")
    serve_until_idle(bench, "stubs:measuring")
    drop(bench, "latch_lever.off", "PASS\n1.0030\n")
    serve_until_idle(bench, "stubs:measuring")
    drop(bench, "latch_lever.off", "UNDECIDED\n1.0040\n")
    serve_until_idle(bench, "stubs:measuring")
    with history(bench) as past:
        before = past.scans()
        sizes = past.sizes_of("latch_lever")
    files = files_below(bench.root)
    as_of_version(bench, version)
    with history(bench) as past:
        assert past.scans() == before
        assert past.sizes_of("latch_lever") == sizes
    assert len(before) == 4
    assert [row["part"] for row in rows(bench)] == [scan.part for scan in before]
    assert {name for name in files if "ledger" not in name} <= set(files_below(bench.root))


def test_the_report_of_a_scan_that_was_tried_twice_is_not_taken_for_the_first_try(bench):
    drop(bench, "latch_lever.off", "PASS\n1.0010\n")
    serve_until_idle(bench, "stubs:measuring")
    drop(bench, "latch_lever.off", "PASS\n1.0010\n")
    serve_until_idle(bench, "stubs:measuring")
    with history(bench) as past:
        before = past.scans()
    for report in (bench.earlier / "latch_lever").rglob("*.report.json"):
        report.unlink()
    as_of_version(bench, 2)
    with history(bench) as past:
        assert past.scans() == (dataclasses.replace(before[1]),)


def test_the_views_say_what_the_readme_says_they_do(bench):
    drop(bench, "latch_lever.off", "PASS\n1.0010\n")
    serve_until_idle(bench, "stubs:measuring")
    drop(bench, "latch_lever.off", "FAIL\n1.0030\n")
    serve_until_idle(bench, "stubs:measuring")
    leave_request(bench, EnterPrint(entry=ENTRY))
    serve_until_idle(bench, "stubs:measuring")
    with closing(sqlite3.connect(bench.ledger)) as db:
        assert db.execute("SELECT part, scans, last_job, last_verdict, prints FROM part_history").fetchall() == [
            ("latch_lever", 2, 2, "FAIL", 1)
        ]
        assert db.execute("SELECT job, scale FROM scanner_history").fetchall() == [(1, 1.001), (2, 1.003)]
        assert db.execute("SELECT count(*), max(wanted_mm) FROM size_history").fetchone() == (6, 120.04)
        (less,) = db.execute("SELECT less_percent FROM print_history").fetchone()
    assert less == pytest.approx(100 * (1 - 83.96 / 84.25))
