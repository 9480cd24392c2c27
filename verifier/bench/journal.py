"""The ledger's table of jobs: what must be known after a power cut, in SQLite.

Every method is one transaction and is on the disk when it returns (WAL with synchronous=FULL, SQLite's documentation
of PRAGMA synchronous). Only the service writes; it holds the bench's lock.
"""

import json
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path

from verifier.bench.job import Job, Outcome, Seen, State
from verifier.bench.ledger import Ledger
from verifier.bench.print_entry import PrintEntry
from verifier.bench.record import Record
from verifier.bench.schema import bring_up_to_date, cannot_write, connect
from verifier.bench.turns import turn_of


def utc_now() -> str:
    """The wall clock, for people to read; nothing is decided by it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Journal(Ledger):
    """All jobs of one bench, open for writing."""

    def __init__(self, path: Path, now: Callable[[], str] = utc_now) -> None:
        """Open or make the ledger; raises WrongUsage for a file that is none or is newer than this program."""
        self._now = now
        self._path = path
        super().__init__(connect(path))
        try:
            with self._one_transaction():
                bring_up_to_date(self._db, path)
            # The folder needs no sync of ours: SQLite syncs it when it has made its log beside a new ledger.
        except BaseException:
            self.close()
            raise

    def begin_claim(self, part: str, original_name: bytes, scan_name: str) -> int:
        """Record a file before it is moved; its job number."""
        row = self._write(
            "INSERT INTO jobs (part, original_name, scan_name, state, claimed_at) VALUES (?, ?, ?, 'claiming', ?)",
            (part, original_name, scan_name, self._now()),
        )
        return int(row.lastrowid or 0)

    def take_back(self, job: int) -> None:
        """Take back a claim whose file never came into the job's folder."""
        self._write("DELETE FROM jobs WHERE id = ? AND state = 'claiming'", (job,))

    def queue(self, job: int, *, size_bytes: int, sha256: str, fingerprint: str) -> None:
        """The file lies in the job's folder, as described. Described anew it keeps its turn."""
        described = {"size_bytes": size_bytes, "sha256": sha256, "fingerprint": fingerprint}
        turn = self.job(job).turn
        self._set(job, state=State.QUEUED, turn=turn_of(job, size_bytes) if turn is None else turn, **described)

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

    def computed(self, job: int, outcome: Outcome, seconds: dict[str, float], peak_bytes: int = 0) -> Job:
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
            peak_bytes=peak_bytes,
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

    def done(self, job: Job, record: Record | None = None, scanned: PrintEntry | None = None) -> Job:
        """Everything stands in its place; passes of the part that this verdict comes after are marked.

        record : the report's numbers, for the history; None for a job without a report
        scanned : for the scan of a print, what it says of the print
        """
        state, now = State.SET_ASIDE if job.verdict is None else State.DONE, self._now()
        with self._one_transaction():
            number = self._write("SELECT coalesce(max(finish_number), 0) + 1 FROM jobs").fetchone()[0]
            self._set(job.id, state=state, finished_at=now, finish_number=number)
            if record is not None:
                self._keep(job, record, now)
            if scanned is not None:
                self._enter(scanned)
            if job.verdict in ("PASS", "FAIL", "UNDECIDED"):
                self._write(
                    "UPDATE jobs SET superseded_by = ?1 WHERE part = ?2 AND id < ?1 AND verdict = 'PASS'"
                    " AND state = 'done' AND superseded_by IS NULL",
                    (job.id, job.part),
                )
        return self.job(job.id)

    def record_late(self, job: Job, record: Record | None) -> None:
        """The numbers of a job that was finished before the ledger had a place for them; None where none are left."""
        with self._one_transaction():
            if record is not None:
                self._keep(job, record, job.finished_at or self._now())
            self._write("DELETE FROM unrecorded WHERE job = ?", (job.id,))

    def _keep(self, job: Job, record: Record, finished_at: str) -> None:
        """A job that runs again says something else of the same scan: its newest numbers stand."""
        self._write("DELETE FROM sizes WHERE job = ?", (job.id,))
        scan = {"job": job.id, "attempt": job.attempt, "finished_at": finished_at, **record.scan}
        self._insert("INSERT OR REPLACE", "scans", scan)
        for number, size in enumerate(record.sizes, 1):
            self._insert("INSERT", "sizes", {"job": job.id, "number": number, **size})

    def enter_print(self, entry: PrintEntry) -> int:
        """Keep a print's readings; its number. Entering the same one twice, after a crash in between, keeps it once."""
        with self._one_transaction():
            return self._enter(entry)

    def _enter(self, entry: PrintEntry) -> int:
        known = self._write("SELECT number FROM prints WHERE token = ?", (entry.token,)).fetchone()
        if known is not None:
            return int(known["number"])
        values = {**entry.about, "token": entry.token, "entered_at": self._now()}
        number = int(self._insert("INSERT", "prints", values).lastrowid or 0)
        for place, row in enumerate(entry.rows, 1):
            self._insert("INSERT", "print_sizes", {"print": number, "number": place, **row.columns})
        return number

    def undo_print(self, number: int) -> None:
        """Take a wrongly entered print out of every figure; its readings stay in the ledger."""
        self._write("UPDATE prints SET undone_at = ? WHERE number = ? AND undone_at IS NULL", (self._now(), number))

    def queue_once_more(self, job: Job) -> Job:
        """A new job for the original of a finished one, whose own record stays as it is."""
        turn = turn_of(self._newest() + 1, job.size_bytes or 0)
        row = self._write(
            "INSERT INTO jobs (part, original_name, scan_name, state, size_bytes, sha256, original, turn, claimed_at)"
            " VALUES (?, ?, ?, 'queued', ?, ?, ?, ?, ?)",
            (job.part, job.original_name, job.scan_name, job.size_bytes, job.sha256, job.original, turn, self._now()),
        )
        return self.job(int(row.lastrowid or 0))

    def forget_part(self, part: str) -> None:
        """Put the finished jobs of a part out of mind: no change of the rules runs them again."""
        self._write(
            "UPDATE jobs SET forgotten_at = ? WHERE part = ? AND forgotten_at IS NULL"
            " AND state IN ('done', 'set aside')",
            (self._now(), part),
        )

    def run_again(self, job: int) -> Job:
        """Queue a held job once more, from its original; fresh scans go first."""
        turn = turn_of(self._newest(), self.job(job).size_bytes or 0, rerun=True)
        self._set(job, state=State.QUEUED, failures=0, interruptions=0, turn=turn)
        return self.job(job)

    def leave_held(self, job: int, seen: Seen) -> None:
        """Back among the held, not to be run again for these rules."""
        self._set(job, state=State.DONE, sheet_seen=seen.sheet, rules_seen=seen.rules)

    def _newest(self) -> int:
        """Number of the newest job; 0 when there is none."""
        return int(self._db.execute("SELECT coalesce(max(id), 0) FROM jobs").fetchone()[0])

    def _insert(self, verb: str, table: str, values: Mapping[str, object]) -> sqlite3.Cursor:
        names, marks = ", ".join(values), ", ".join("?" * len(values))
        return self._write(f"{verb} INTO {table} ({names}) VALUES ({marks})", tuple(values.values()))

    def _set(self, job: int, **columns: object) -> None:
        names = ", ".join(f"{name} = ?" for name in columns)
        self._write(f"UPDATE jobs SET {names} WHERE id = ?", (*columns.values(), job))

    def _write(self, statement: str, values: Sequence[object] = ()) -> sqlite3.Cursor:
        try:
            return self._db.execute(statement, values)
        except sqlite3.OperationalError as error:
            raise cannot_write(self._path, error) from error

    @contextmanager
    def _one_transaction(self) -> Iterator[None]:
        self._write("BEGIN IMMEDIATE")
        try:
            yield
            self._write("COMMIT")
        except BaseException as error:
            with suppress(sqlite3.OperationalError):  # a full disk may have ended the transaction already
                self._db.execute("ROLLBACK")
            if isinstance(error, sqlite3.OperationalError):
                raise cannot_write(self._path, error) from error
            raise


def _as_json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False)
