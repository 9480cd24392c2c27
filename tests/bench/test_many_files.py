"""Many files at once; many_files.py does the same for as many as one likes."""

import tempfile
from pathlib import Path

import pytest
from many_files import check, serve_many
from service import make_bench, quick, rows

from verifier.bench import intake
from verifier.bench.intake import Intake
from verifier.bench.journal import Journal


def test_three_hundred_files_at_once_come_out_once_each_and_the_service_stays_small(quick_place):
    bench = make_bench(Path(tempfile.mkdtemp(dir=quick_place)))
    seen_bytes = serve_many(bench, 300)
    check(bench, 300)
    assert max(seen_bytes) < 150 << 20  # the promise for any number of jobs


@pytest.fixture
def listings(monkeypatch):
    """How often the whole inbox was read."""
    counted = []
    whole = intake.look_into
    monkeypatch.setattr(intake, "look_into", lambda inbox: counted.append(inbox) or whole(inbox))
    return counted


def test_a_thousand_files_are_all_claimed_without_reading_the_folder_for_each_few_of_them(bench, listings):
    for number in range(1000):
        (bench.inbox / f"part_{number}.off").write_text(f"PASS\n{number}")
    journal = Journal(bench.ledger)
    inbox = Intake(bench, journal, quick(rescan_s=5.0, settle_s=1.0), lambda event: None)
    now_s = 0.0
    while (wait_s := inbox.look(now_s)) is not None:
        now_s += max(wait_s, 0.05)
    journal.close()
    assert len({row["original_name"] for row in rows(bench)}) == len(rows(bench)) == 1000
    assert len(listings) <= 3 + now_s / 5.0


def test_a_small_file_that_comes_during_a_flood_waits_no_longer_than_two_usual_pauses(bench):
    for number in range(300):
        (bench.inbox / f"part_{number}.off").write_text("PASS\n" + "x" * 1000)
    journal = Journal(bench.ledger)
    inbox = Intake(bench, journal, quick(rescan_s=0.5, settle_s=0.1), lambda event: None)
    inbox.look(0.0)
    inbox.look(1.0)
    (bench.inbox / "latch_lever.off").write_text("PASS\n")
    for now_s in (1.1, 1.5, 1.7, 2.0):
        inbox.look(now_s)
    journal.close()
    assert "latch_lever" in {row["part"] for row in rows(bench)}
    assert len(rows(bench)) < 300


def test_a_file_that_changes_after_the_folder_was_read_is_not_taken_for_still(bench):
    for number in range(30):
        (bench.inbox / f"part_{number}.off").write_text("PASS\n")
    journal = Journal(bench.ledger)
    inbox = Intake(bench, journal, quick(rescan_s=5.0, settle_s=1.0), lambda event: None)
    inbox.look(0.0)
    assert inbox.look(1.0) == 0.0  # twenty are taken
    left = sorted(bench.inbox.iterdir())
    left[-1].write_text("PASS\nmore")
    left[0].unlink()
    assert inbox.look(1.1) == pytest.approx(1.0)
    journal.close()
    assert [file.name for file in bench.inbox.iterdir()] == [left[-1].name]
    assert len(rows(bench)) == 28
