"""The ledger of jobs."""

import sqlite3

import pytest

from verifier.bench.job import Outcome, Seen, State
from verifier.bench.journal import Journal
from verifier.bench.schema import FIRST
from verifier.bench.turns import PLACES_OF_A_RERUN
from verifier.errors import WrongUsage


@pytest.fixture
def journal(tmp_path):
    journal = Journal(tmp_path / "ledger.db", now=lambda: "2024-05-01T08:00:00.000+00:00")
    yield journal
    journal.close()


def queued(journal, part, size_bytes=10):
    job = journal.begin_claim(part, f"{part}.stl".encode(), f"{part}.stl")
    journal.queue(job, size_bytes=size_bytes, sha256="0" * 64, fingerprint="1:2:3:4")
    return journal.job(job)


def finished(journal, part, verdict):
    job = journal.start(queued(journal, part), Seen(None, "rules"))
    journal.computed(job.id, Outcome(part=part, verdict=verdict, reasons=("a", "b"), exit=0), {"reading": 0.5})
    return journal.done(journal.job(job.id))


def test_every_commit_is_synced(journal):
    assert journal._db.execute("PRAGMA synchronous").fetchone()[0] == 2  # FULL, SQLite's documentation of the pragma
    assert journal._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_a_job_is_found_again_as_it_was_written(journal, tmp_path):
    done = finished(journal, "latch_lever", "PASS")
    journal.close()
    again = Journal(tmp_path / "ledger.db")
    assert again.job(done.id) == done
    assert (done.state, done.reason, done.reasons, done.seconds) == (
        State.DONE,
        "a b",
        '["a", "b"]',
        '{"reading": 0.5}',
    )
    again.close()


def test_a_number_is_never_given_twice_even_after_a_claim_was_taken_back(journal):
    first = journal.begin_claim("a", b"a", "a")
    journal.take_back(first)
    assert journal.begin_claim("a", b"a", "a") == first + 1


def test_only_a_claim_can_be_taken_back(journal):
    job = queued(journal, "a")
    journal.take_back(job.id)
    assert journal.job(job.id) == job


def test_jobs_run_in_their_turn_and_of_one_part_the_oldest(journal):
    queued(journal, "big", 50_000_000)
    queued(journal, "small", 10)
    queued(journal, "big", 2)
    assert [(job.part, job.size_bytes) for job in journal.runnable(9)] == [("small", 10), ("big", 50_000_000)]


def test_a_big_job_goes_after_as_many_later_small_ones_as_it_has_megabytes(journal):
    queued(journal, "big", 5_000_000)
    for number in range(8):
        queued(journal, f"small_{number}", 10)
    in_turn = [job.part for job in journal.runnable(9)]
    assert in_turn.index("big") == 4  # 2 to 5 go first; 6 has the same turn and came later


def test_the_smallest_are_looked_at_too_however_many_big_ones_stand_before_them(journal):
    for number in range(9):
        queued(journal, f"big_{number}", 30_000_000)
    for number in range(40):
        queued(journal, f"middling_{number}", 3_000_000)
    queued(journal, "small", 10)
    assert [job.part for job in journal.runnable(1)] == ["middling_0", "small"]


def test_a_job_described_anew_keeps_its_turn_and_one_that_runs_again_lets_fresh_ones_go_first(journal):
    held = finished(journal, "latch_lever", "FAIL")
    first = queued(journal, "seat_armrest")
    journal.queue(first.id, size_bytes=90_000_000, sha256="0", fingerprint="1")
    assert journal.job(first.id).turn == first.turn
    journal.run_again(held.id)
    for number in range(30):
        queued(journal, f"fresh_{number}")
    in_turn = [job.part for job in journal.runnable(99)]
    assert in_turn[0] == "seat_armrest"
    assert in_turn.index("latch_lever") == 1 + PLACES_OF_A_RERUN - 1  # the last of them has the same turn


def test_names_that_are_no_text_are_kept_byte_for_byte(journal):
    job = journal.begin_claim("r_ck", b"r\xfcck\n'.stl", "r_ck.stl")
    assert journal.job(job).original_name == b"r\xfcck\n'.stl"


@pytest.mark.parametrize(
    ("verdicts", "held"),
    [
        (["FAIL"], [1]),
        (["FAIL", "PASS"], []),
        (["PASS", "FAIL"], [2]),
        (["UNDECIDED", "FAIL"], [2]),
        (["UNDECIDED", "REFUSED"], [1, 2]),
        (["REFUSED", "UNDECIDED"], [2]),
        (["REFUSED"], [1]),
    ],
)
def test_held_is_what_nothing_newer_of_its_part_has_answered(journal, verdicts, held):
    for verdict in verdicts:
        finished(journal, "latch_lever", verdict)
    finished(journal, "fence_clip", "PASS")
    assert [job.id for job in journal.held()] == held


def test_a_job_that_runs_again_still_stands_for_its_part(journal):
    finished(journal, "latch_lever", "UNDECIDED")
    second = finished(journal, "latch_lever", "UNDECIDED")
    journal.run_again(second.id)
    assert journal.held() == []


def test_a_ledger_of_the_first_version_keeps_its_jobs_and_their_order(tmp_path):
    db = sqlite3.connect(tmp_path / "ledger.db")
    db.executescript(FIRST + "; PRAGMA user_version = 1;")
    columns = "part, original_name, scan_name, state, claimed_at, finished_at"
    for part, at in [("late", "2024-05-03"), ("early", "2024-05-01"), ("waiting", None)]:
        state = "done" if at else "queued"
        db.execute(f"INSERT INTO jobs ({columns}) VALUES (?, x'61', 'a', ?, '2024', ?)", (part, state, at))
    db.commit()
    db.close()
    journal = Journal(tmp_path / "ledger.db")
    assert [(job.part, job.finish_number) for job in journal.latest(9)] == [("late", 2), ("early", 1)]
    assert [job.part for job in journal.in_state(State.QUEUED)] == ["waiting"]
    journal.close()
    Journal(tmp_path / "ledger.db").close()  # and a second start changes nothing


def test_a_wall_clock_that_jumps_a_day_back_does_not_change_the_order(tmp_path):
    moments = iter([f"2024-05-0{day}T08:00:00.000+00:00" for day in (5, 5, 5, 5, 4, 4, 4, 4)])
    journal = Journal(tmp_path / "ledger.db", now=lambda: next(moments))
    first, second = finished(journal, "latch_lever", "PASS"), finished(journal, "fence_clip", "PASS")
    assert first.finished_at > second.finished_at
    assert [job.part for job in journal.latest(9)] == ["fence_clip", "latch_lever"]
    journal.close()


@pytest.mark.parametrize(
    ("verdicts", "marked"),
    [
        (["PASS", "FAIL"], [2, None]),
        (["PASS", "REFUSED"], [None, None]),
        (["FAIL", "PASS"], [None, None]),
        (["PASS", "UNDECIDED", "PASS"], [2, None, None]),
    ],
)
def test_a_pass_is_marked_by_the_first_later_scan_that_was_measured(journal, verdicts, marked):
    jobs = [finished(journal, "latch_lever", verdict) for verdict in verdicts]
    finished(journal, "fence_clip", "FAIL")
    assert [journal.job(job.id).superseded_by for job in jobs] == marked


def test_a_ledger_of_a_newer_program_is_left_alone(tmp_path):
    db = sqlite3.connect(tmp_path / "ledger.db")
    db.execute("PRAGMA user_version = 999")
    db.close()
    with pytest.raises(WrongUsage, match="newer verifier"):
        Journal(tmp_path / "ledger.db")


def test_a_file_that_is_no_ledger_says_so(tmp_path):
    (tmp_path / "ledger.db").write_text("dear diary, " * 100)
    with pytest.raises(WrongUsage, match="cannot be opened"):
        Journal(tmp_path / "ledger.db")
