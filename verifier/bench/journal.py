"""The ledger's table of jobs: what must be known after a power cut, in SQLite.

Every method is one transaction and is on the disk when it returns (WAL with synchronous=FULL, SQLite's documentation
of PRAGMA synchronous). Only the service writes; it holds the bench's lock.
"""

import json
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path

from verifier.bench.durable import sync_folder
from verifier.bench.job import Job, Outcome, Seen, State
from verifier.errors import WrongUsage

VERSION = 1
SCHEMA = """
CREATE TABLE jobs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    part TEXT NOT NULL,
    original_name BLOB NOT NULL,
    scan_name TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('claiming', 'queued', 'running', 'computed', 'done', 'set aside')),
    size_bytes INTEGER,
    sha256 TEXT,
    fingerprint TEXT,
    attempt INTEGER NOT NULL DEFAULT 0,
    failures INTEGER NOT NULL DEFAULT 0,
    interruptions INTEGER NOT NULL DEFAULT 0,
    verdict TEXT CHECK (verdict IN ('PASS', 'FAIL', 'UNDECIDED', 'REFUSED')),
    reason TEXT,
    reasons TEXT,
    next_steps TEXT,
    exit_code INTEGER,
    sheet_sha256 TEXT,
    sheet_seen TEXT,
    rules_seen TEXT,
    original TEXT,
    seconds TEXT,
    claimed_at TEXT NOT NULL,
    started_at TEXT,
    computed_at TEXT,
    finished_at TEXT
) STRICT;
CREATE INDEX jobs_by_state ON jobs (state, verdict);
CREATE INDEX jobs_by_part ON jobs (part, id);
"""
# A held job that a change of the rules concerns: nothing newer of its part says more than it does. A scan that
# could not be used gives way to anything newer; the others to a newer one that was measured.
HELD = """
SELECT * FROM jobs AS held WHERE state = 'done' AND verdict IN ('FAIL', 'UNDECIDED', 'REFUSED') AND NOT EXISTS (
    SELECT 1 FROM jobs AS newer WHERE newer.part = held.part AND newer.id > held.id
    AND newer.verdict IS NOT NULL AND (held.verdict = 'REFUSED' OR newer.verdict <> 'REFUSED')
) ORDER BY id
"""
UNFINISHED = "('claiming', 'queued', 'running', 'computed')"


def utc_now() -> str:
    """The wall clock, for people to read; nothing is decided by it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Journal:
    """All jobs of one bench, open for writing."""

    def __init__(self, path: Path, now: Callable[[], str] = utc_now) -> None:
        """Open or make the ledger; raises WrongUsage for a file that is none or is newer than this program."""
        self._now = now
        self._db = _connect(path)
        with self._one_transaction():
            _bring_up_to_date(self._db, path)
        sync_folder(path.parent)

    def close(self) -> None:
        """Close the ledger."""
        self._db.close()

    def begin_claim(self, part: str, original_name: bytes, scan_name: str) -> int:
        """Record a file before it is moved; its job number."""
        row = self._db.execute(
            "INSERT INTO jobs (part, original_name, scan_name, state, claimed_at) VALUES (?, ?, ?, 'claiming', ?)",
            (part, original_name, scan_name, self._now()),
        )
        return int(row.lastrowid or 0)

    def forget(self, job: int) -> None:
        """Take back a claim whose file never came into the job's folder."""
        self._db.execute("DELETE FROM jobs WHERE id = ? AND state = 'claiming'", (job,))

    def queue(self, job: int, *, size_bytes: int, sha256: str, fingerprint: str) -> None:
        """The file lies in the job's folder, as described."""
        self._set(job, state=State.QUEUED, size_bytes=size_bytes, sha256=sha256, fingerprint=fingerprint)

    def start(self, job: Job, seen: Seen) -> Job:
        """Count an attempt, before the work."""
        self._set(
            job.id,
            state=State.RUNNING,
            attempt=job.attempt + 1,
            sheet_seen=seen.sheet,
            rules_seen=seen.rules,
            started_at=self._now(),
        )
        return self.job(job.id)

    def queue_again(self, job: Job, reason: str, *, failed: bool = False, interrupted: bool = False) -> Job:
        """An attempt ended without a result."""
        self._set(
            job.id,
            state=State.QUEUED,
            reason=reason,
            failures=job.failures + failed,
            interruptions=job.interruptions + interrupted,
        )
        return self.job(job.id)

    def computed(self, job: int, outcome: Outcome, seconds: dict[str, float]) -> Job:
        """The attempt's result is whole and synced."""
        self._set(
            job,
            state=State.COMPUTED,
            verdict=outcome.verdict,
            reason=" ".join(outcome.reasons),
            reasons=_as_json(outcome.reasons),
            next_steps=_as_json(outcome.next_steps),
            exit_code=outcome.exit,
            sheet_sha256=outcome.sheet_sha256,
            seconds=_as_json(seconds),
            computed_at=self._now(),
        )
        return self.job(job)

    def given_up(self, job: int, reason: str) -> Job:
        """The job gets no more attempts; what is published for it, the reason and traceback, is synced."""
        self._set(
            job,
            state=State.COMPUTED,
            verdict=None,
            reason=reason,
            reasons=_as_json([reason]),
            next_steps=_as_json([]),
            exit_code=None,
            sheet_sha256=None,
            computed_at=self._now(),
        )
        return self.job(job)

    def plan_original(self, job: int, original: str) -> None:
        """Settle where the original will lie, below originals/."""
        self._set(job, original=original)

    def sheet_offered(self, job: int, sheet_sha256: str) -> None:
        """The part's sheet is the draft this job made, so it is no reason to run the job again."""
        self._set(job, sheet_seen=sheet_sha256)

    def done(self, job: Job) -> Job:
        """Everything stands in its place."""
        state = State.SET_ASIDE if job.verdict is None else State.DONE
        self._set(job.id, state=state, finished_at=self._now())
        return self.job(job.id)

    def run_again(self, job: int) -> Job:
        """Queue a held job once more, from its original."""
        self._set(job, state=State.QUEUED, failures=0, interruptions=0)
        return self.job(job)

    def leave_held(self, job: int, seen: Seen) -> None:
        """Back among the held, not to be run again for these rules."""
        self._set(job, state=State.DONE, sheet_seen=seen.sheet, rules_seen=seen.rules)

    def job(self, job: int) -> Job:
        """One job."""
        return self._jobs("SELECT * FROM jobs WHERE id = ?", (job,))[0]

    def in_state(self, *states: State) -> list[Job]:
        """Jobs in any of these states, oldest first."""
        marks = ", ".join("?" * len(states))
        return self._jobs(f"SELECT * FROM jobs WHERE state IN ({marks}) ORDER BY id", states)

    def runnable(self) -> list[Job]:
        """Queued jobs, smallest first; of one part only the oldest, so that its newest result comes last."""
        return self._jobs(
            f"SELECT * FROM jobs AS job WHERE state = 'queued' AND NOT EXISTS (SELECT 1 FROM jobs AS older WHERE"
            f" older.part = job.part AND older.id < job.id AND older.state IN {UNFINISHED}) ORDER BY size_bytes, id"
        )

    def held(self) -> list[Job]:
        """Held jobs that a change of the rules may concern, oldest first."""
        return self._jobs(HELD)

    def latest(self, count: int) -> list[Job]:
        """The last jobs to be finished, newest first."""
        return self._jobs(
            "SELECT * FROM jobs WHERE finished_at IS NOT NULL ORDER BY finished_at DESC LIMIT ?", (count,)
        )

    def _jobs(self, query: str, values: Sequence[object] = ()) -> list[Job]:
        return [_job_of(row) for row in self._db.execute(query, values)]

    def _set(self, job: int, **columns: object) -> None:
        names = ", ".join(f"{name} = ?" for name in columns)
        self._db.execute(f"UPDATE jobs SET {names} WHERE id = ?", (*columns.values(), job))

    @contextmanager
    def _one_transaction(self) -> Iterator[None]:
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            raise
        self._db.execute("COMMIT")


def _connect(path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(path, isolation_level=None)
    db.row_factory = sqlite3.Row
    try:
        db.execute("PRAGMA journal_mode = WAL")
    except sqlite3.DatabaseError as error:
        db.close()
        raise WrongUsage(
            f"the ledger cannot be opened: {error}", where=str(path), do="Put it back from your backup, or move it away"
        ) from error
    db.execute("PRAGMA synchronous = FULL")
    return db


def _bring_up_to_date(db: sqlite3.Connection, path: Path) -> None:
    version = db.execute("PRAGMA user_version").fetchone()[0]
    if version > VERSION:
        raise WrongUsage(
            "a newer verifier made this ledger", where=str(path), do="Use that verifier, or a newer one, for this bench"
        )
    if version < 1:
        for statement in SCHEMA.split(";"):
            db.execute(statement)
        db.execute(f"PRAGMA user_version = {VERSION}")


def _job_of(row: sqlite3.Row) -> Job:
    values = {field.name: row[field.name] for field in fields(Job)}
    return Job(**(values | {"state": State(values["state"])}))


def _as_json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
