"""The commands `status`, `retry` and `forget`, as they are typed."""

import json
import re
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from verifier.bench import Working, new_bench, status
from verifier.bench.job import Outcome, Seen
from verifier.bench.journal import Journal
from verifier.bench.pulse import Pulse
from verifier.bench.status import BenchStatus
from verifier.standing import SCHEMA, as_values, lines_of


def finish(journal: Journal, bench, part: str, verdict: str | None, reason: str) -> None:
    job = journal.begin_claim(part, f"{part}.stl".encode(), f"{part}.stl")
    journal.queue(job, size_bytes=1_200_000, sha256="0" * 64, fingerprint="1:2:3:4")
    started = journal.start(journal.job(job), Seen(None, "rules"))
    if verdict is None:
        journal.given_up(job, reason)
    else:
        journal.computed(started.id, Outcome(part=part, verdict=verdict, reasons=(reason,), exit=0), {})
    (bench.originals / part).mkdir(exist_ok=True)
    (bench.originals / part / f"{part}.stl").write_text("scan")
    journal.plan_original(job, f"{part}/{part}.stl")
    journal.done(journal.job(job))


@pytest.fixture
def bench(tmp_path):
    (tmp_path / "rules" / "sheets").mkdir(parents=True)
    made = new_bench(tmp_path / "bench", tmp_path / "rules")
    journal = Journal(made.ledger)
    finish(journal, made, "latch_lever", "PASS", "All sizes are within tolerance.")
    finish(journal, made, "fence_clip", "FAIL", "The bore is 0.3 mm too narrow.")
    finish(journal, made, "pump_rocker", None, "It was tried 3 times.")
    finish(journal, made, "latch_lever", "UNDECIDED", "One size is not sure.")
    journal.close()
    (made.inbox / "seat_armrest.ply").write_text("ply")
    return made


def verifier(*words: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "verifier", *map(str, words)], capture_output=True, text=True, timeout=60, check=False
    )


def test_the_lines_say_what_waits_for_the_person_before_what_is_past(bench):
    lines = lines_of(status(bench.root), datetime.now(UTC))
    told = [line for line in lines if line and not line.startswith(" ")]
    assert re.fullmatch(r".*bench: not watched, \d+\.\d GiB free\. Start it: verifier watch .*bench", told[0])
    assert told[1:] == [
        "Waits in the inbox (1)",
        "Waits for you (2)",
        "Set aside (1)",
        "In the slicer folder, though a newer scan did not pass (1)",
        "Came out last (4)",
    ]
    held = bench.held / "fence_clip"
    assert f"  fence_clip  FAIL. The bore is 0.3 mm too narrow. See {held}" in lines


def test_of_many_reasons_a_line_has_the_first_and_the_values_have_all(bench):
    reason = " ".join(f"'bore {k}': not measured, since no bore of the scan fits." for k in range(1, 13))
    with closing(Journal(bench.ledger)) as journal:
        finish(journal, bench, "fence_clip", "UNDECIDED", reason)
    told = status(bench.root)
    lines = [line for line in lines_of(told, datetime.now(UTC)) if "UNDECIDED" in line and "fence_clip" in line]
    assert len(lines) == 2
    assert all(line.startswith("  fence_clip  UNDECIDED. 'bore 1': not measured") and " …" in line for line in lines)
    assert all(len(line.partition(" …")[0]) < 190 for line in lines)
    assert reason in [job["reason"] for job in as_values(told)["held"]]


def test_a_result_that_a_later_refusal_of_its_part_has_moved_is_told_with_its_new_place(bench):
    with closing(Journal(bench.ledger)) as journal:
        finish(journal, bench, "fence_clip", "REFUSED", "It is of no mesh format known.")
    lines = [line for line in lines_of(status(bench.root), datetime.now(UTC)) if "See" in line and "fence_clip" in line]
    assert [line.partition("See ")[2] for line in lines] == [
        str(bench.earlier / "fence_clip"),
        str(bench.held / "fence_clip"),
    ]


def test_a_pass_that_a_newer_scan_came_after_stays_listed_and_is_marked(bench):
    lines = lines_of(status(bench.root), datetime.now(UTC))
    superseded = [line for line in lines if "superseded" in line]
    assert [line.partition(". ")[0] for line in superseded] == ["  latch_lever  PASS, superseded by a newer scan"]
    marks = {job["job"]: job["superseded_by"] for job in as_values(status(bench.root))["latest"]}
    assert marks == {1: 4, 2: None, 3: None, 4: None}


def test_what_runs_is_told_with_its_stage_and_how_long(bench):
    now = datetime(2024, 5, 1, 8, 0, 0, tzinfo=UTC)
    journal = Journal(bench.ledger)
    job = journal.begin_claim("seat_armrest", b"a", "a")
    journal.queue(job, size_bytes=2_000_000, sha256="1", fingerprint="1")
    waiting = journal.begin_claim("gate", b"b", "b")
    journal.queue(waiting, size_bytes=3_000_000, sha256="2", fingerprint="2")
    journal.start(journal.job(job), Seen(None, ""))
    journal.close()
    began = (now - timedelta(seconds=7)).isoformat()
    looked = (now - timedelta(seconds=2)).isoformat()
    pulse = Pulse(pid=7, started_at=began, looked_at=looked, working=(Working(job=job, stage="finding", since=began),))
    told = status(bench.root)
    told = BenchStatus(**{name: getattr(told, name) for name in told.__slots__} | {"watched": True, "pulse": pulse})
    lines = lines_of(told, now)
    assert "watched, last looked 2 s ago" in lines[0]
    assert "  seat_armrest  finding, for 7 s, attempt 1" in lines
    assert "  gate  queued, 3.0 MB" in lines


def test_the_json_is_for_programs(bench):
    answer = verifier("status", bench.root, "--json")
    told = json.loads(answer.stdout)
    assert (answer.returncode, answer.stderr) == (0, "")
    assert (told["schema"], told["watched"], told["inbox"]) == (SCHEMA, False, ["seat_armrest.ply"])
    assert [(row["part"], row["verdict"]) for row in told["held"]] == [
        ("fence_clip", "FAIL"),
        ("latch_lever", "UNDECIDED"),
    ]
    assert [row["part"] for row in told["set_aside"]] == ["pump_rocker"]
    assert [row["job"] for row in told["overtaken"]] == [1]
    assert told["free_bytes"] > 0


def test_retry_and_forget_say_what_becomes_of_it(bench):
    again = verifier("retry", "pump_rocker.stl", "--bench", bench.root)
    assert (again.returncode, again.stderr) == (0, "")
    assert again.stdout.startswith("pump_rocker: runs once more when you start: verifier watch ")
    assert [job.part for job in status(bench.root).in_hand] == ["pump_rocker"]
    gone = verifier("forget", "fence_clip", "--bench", bench.root)
    assert gone.stdout.startswith("fence_clip: forgotten. What was held lies in ")
    assert [job.part for job in status(bench.root).held] == ["latch_lever"]


@pytest.mark.parametrize("command", ["retry", "forget"])
def test_a_name_that_nothing_bears_is_wrong_usage(bench, command):
    answer = verifier(command, "gate_hinge", "--bench", bench.root)
    assert (answer.returncode, answer.stdout) == (64, "")
    assert answer.stderr.startswith("verifier: gate_hinge: no part")
    assert "verifier status" in answer.stderr
