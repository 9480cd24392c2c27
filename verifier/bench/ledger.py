"""What the ledger tells: questions about jobs, asked by the service itself and by whoever looks at the bench."""

import sqlite3
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

from verifier.bench.history import History
from verifier.bench.job import Job, State
from verifier.bench.memory import Peak
from verifier.bench.schema import connect_to_read

# A held job that a change of the rules concerns: nothing newer of its part says more than it does. A scan that
# could not be used gives way to anything newer; the others to a newer one that was measured.
HELD = """
SELECT * FROM jobs AS held WHERE state = 'done' AND verdict IN ('FAIL', 'UNDECIDED', 'REFUSED') AND forgotten_at IS NULL
AND NOT EXISTS (
    SELECT 1 FROM jobs AS newer WHERE newer.part = held.part AND newer.id > held.id
    AND newer.verdict IS NOT NULL AND (held.verdict = 'REFUSED' OR newer.verdict <> 'REFUSED')
) ORDER BY id
"""
# A job set aside that the person has neither answered with a newer scan nor put out of mind.
SET_ASIDE = """
SELECT * FROM jobs AS aside WHERE state = 'set aside' AND forgotten_at IS NULL AND NOT EXISTS (
    SELECT 1 FROM jobs AS newer WHERE newer.part = aside.part AND newer.id > aside.id AND newer.verdict IS NOT NULL
) ORDER BY id
"""
# A pass whose mesh still lies in the slicer folder although the part's newest scan did not pass.
OVERTAKEN = """
SELECT * FROM jobs AS passed WHERE state = 'done' AND verdict = 'PASS' AND superseded_by IS NOT NULL
AND part NOT LIKE '%.print' AND NOT EXISTS (
    SELECT 1 FROM jobs AS newer WHERE newer.part = passed.part AND newer.id > passed.id AND newer.verdict = 'PASS'
) ORDER BY id
"""
# Walked along an index each, so that twenty thousand waiting jobs cost no more than twenty. The smallest are looked at
# beside the first in line, since these may all be waiting for room.
OLDEST_OF_ITS_PART = """
state = 'queued' AND NOT EXISTS (
    SELECT 1 FROM jobs AS older WHERE older.part = job.part AND older.id < job.id
    AND older.state IN ('claiming', 'queued', 'running', 'computed')
)
"""
IN_TURN = f"SELECT * FROM jobs AS job WHERE {OLDEST_OF_ITS_PART} ORDER BY turn, id LIMIT ?"
SMALLEST = f"SELECT * FROM jobs AS job WHERE {OLDEST_OF_ITS_PART} ORDER BY size_bytes, id LIMIT ?"
PASSES = """
SELECT original, sha256 FROM jobs
WHERE part = ? AND verdict = 'PASS' AND original IS NOT NULL AND finished_at IS NOT NULL
ORDER BY id DESC
"""
PEAKS = """
SELECT scan_name, size_bytes, peak_bytes FROM jobs WHERE peak_bytes > 0 AND size_bytes IS NOT NULL
ORDER BY finish_number DESC LIMIT ?
"""


_COLUMNS = tuple(field.name for field in fields(Job))


class Ledger:
    """All jobs of one bench, to be read."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db

    @classmethod
    def open_to_read(cls, path: Path) -> "Ledger":
        """Look into a ledger beside the service; raises WrongUsage for a file that is none."""
        return cls(connect_to_read(path))

    @property
    def history(self) -> History:
        """What came of scans and prints."""
        return History(self._db)

    def close(self) -> None:
        """Close the ledger."""
        self._db.close()

    def job(self, job: int) -> Job:
        """One job."""
        return self._jobs("SELECT * FROM jobs WHERE id = ?", (job,))[0]

    def find(self, job: int) -> Job | None:
        """One job, if there is one of this number."""
        return next(iter(self._jobs("SELECT * FROM jobs WHERE id = ?", (job,))), None)

    def in_state(self, *states: State) -> list[Job]:
        """Jobs in any of these states, oldest first."""
        marks = ", ".join("?" * len(states))
        return self._jobs(f"SELECT * FROM jobs WHERE state IN ({marks}) ORDER BY id", states)

    def runnable(self, count: int) -> list[Job]:
        """The first queued jobs by their turn, then the smallest of all; of one part only the oldest.

        So the newest result of a part comes last. There are at most twice `count`.
        """
        in_turn = self._jobs(IN_TURN, (count,))
        known = {job.id for job in in_turn}
        return in_turn + [job for job in self._jobs(SMALLEST, (count,)) if job.id not in known]

    def peaks(self, count: int) -> list[Peak]:
        """What the last jobs to be finished took of memory, oldest first."""
        rows = self._db.execute(PEAKS, (count,)).fetchall()
        return [Peak(row["scan_name"], row["size_bytes"], row["peak_bytes"]) for row in reversed(rows)]

    def held(self) -> list[Job]:
        """Held jobs that a change of the rules may concern, oldest first."""
        return self._jobs(HELD)

    def set_aside(self) -> list[Job]:
        """Jobs that were given up and that nothing newer has answered, oldest first."""
        return self._jobs(SET_ASIDE)

    def overtaken(self) -> list[Job]:
        """Passes that lie in the slicer folder although a newer scan of the part did not pass, oldest first."""
        return self._jobs(OVERTAKEN)

    def latest(self, count: int) -> list[Job]:
        """The last jobs to be finished, newest first, whatever the wall clock said."""
        return self._jobs(
            "SELECT * FROM jobs WHERE finish_number IS NOT NULL ORDER BY finish_number DESC LIMIT ?", (count,)
        )

    def of_part(self, part: str) -> list[Job]:
        """All jobs of a part, oldest first."""
        return self._jobs("SELECT * FROM jobs WHERE part = ? ORDER BY id", (part,))

    def passes(self, part: str) -> list[tuple[str, str]]:
        """Original, as its path below originals/, and SHA-256 of each finished PASS of a part, newest first."""
        return [(str(row["original"]), str(row["sha256"])) for row in self._db.execute(PASSES, (part,))]

    def unrecorded(self) -> list[Job]:
        """Jobs measured before the ledger had a history, whose reports are still to be looked for, oldest first."""
        return self._jobs("SELECT * FROM jobs WHERE id IN (SELECT job FROM unrecorded) ORDER BY id")

    def named(self, name: str) -> list[Job]:
        """All jobs of the part or of the scan of this name, oldest first."""
        return self._jobs("SELECT * FROM jobs WHERE part = ?1 OR scan_name = ?1 ORDER BY id", (name,))

    def _jobs(self, query: str, values: Sequence[object] = ()) -> list[Job]:
        return [_job_of(row) for row in self._db.execute(query, values)]


def _job_of(row: sqlite3.Row) -> Job:
    values = dict(zip(row.keys(), row, strict=True))
    values["state"] = State(values["state"])
    return Job(**{name: values[name] for name in _COLUMNS})
