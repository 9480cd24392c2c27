"""The tables of the ledger, and how an older ledger becomes one of today."""

import sqlite3
from contextlib import closing
from pathlib import Path

from verifier.bench.schema_history import HISTORY
from verifier.errors import LedgerCannotWrite, WrongUsage

FIRST = """
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
# What each later version added; a ledger of version n has had the first n - 1 of these.
ADDED = (
    """
    ALTER TABLE jobs ADD COLUMN finish_number INTEGER;
    ALTER TABLE jobs ADD COLUMN superseded_by INTEGER;
    ALTER TABLE jobs ADD COLUMN forgotten_at TEXT;
    CREATE INDEX jobs_to_run ON jobs (state, size_bytes, id);
    UPDATE jobs SET finish_number = (
        SELECT count(*) FROM jobs AS other WHERE (other.finished_at, other.id) <= (jobs.finished_at, jobs.id)
    ) WHERE finished_at IS NOT NULL
    """,
    HISTORY,
    """
    ALTER TABLE prints ADD COLUMN u_scale REAL NOT NULL DEFAULT 0.0
    """,
    """
    ALTER TABLE jobs ADD COLUMN turn INTEGER;
    ALTER TABLE jobs ADD COLUMN peak_bytes INTEGER;
    UPDATE jobs SET turn = id + coalesce(size_bytes, 0) / 1000000;
    CREATE INDEX jobs_in_turn ON jobs (state, turn, id);
    CREATE INDEX jobs_by_finish ON jobs (finish_number)
    """,
)
VERSION = 1 + len(ADDED)


def connect(path: Path) -> sqlite3.Connection:
    """Open or make the ledger for writing; raises WrongUsage for a file that is none, LedgerCannotWrite."""
    db = sqlite3.connect(path, isolation_level=None)
    db.row_factory = sqlite3.Row
    try:
        db.execute("PRAGMA journal_mode = WAL")
    except sqlite3.OperationalError as error:
        db.close()
        raise cannot_write(path, error) from error
    except sqlite3.DatabaseError as error:
        db.close()
        raise _no_ledger(path, error) from error
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA fullfsync = ON")  # macOS alone: there a plain sync stops at the drive's own cache
    return db


def connect_to_read(path: Path) -> sqlite3.Connection:
    """Open a ledger that a service may be writing to; raises WrongUsage for a file that is none."""
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None)
    db.row_factory = sqlite3.Row
    try:
        refuse_newer(db, path)
    except sqlite3.DatabaseError as error:
        db.close()
        raise _no_ledger(path, error) from error
    return db


def version_of(path: Path) -> int:
    """The version of a ledger that lies there; raises WrongUsage as connect_to_read does."""
    with closing(connect_to_read(path)) as db:
        return refuse_newer(db, path)


def bring_up_to_date(db: sqlite3.Connection, path: Path) -> None:
    """Make what is missing; within the caller's transaction. Raises WrongUsage for a newer program's ledger."""
    version = refuse_newer(db, path)
    for step in (FIRST, *ADDED)[version:]:
        for statement in step.split(";"):
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {VERSION}")


def refuse_newer(db: sqlite3.Connection, path: Path) -> int:
    """The ledger's version, 0 for an empty one; raises WrongUsage when this program does not know it."""
    version = int(db.execute("PRAGMA user_version").fetchone()[0])
    if version > VERSION:
        raise WrongUsage(
            "a newer verifier made this ledger", where=str(path), do="Use that verifier, or a newer one, for this bench"
        )
    return version


def cannot_write(path: Path, error: sqlite3.Error | OSError) -> LedgerCannotWrite:
    """What the database says of its disk, as something the person can put right."""
    return LedgerCannotWrite(str(error), where=str(path), do="Make room on the disk, or let the file be written to")


def _no_ledger(path: Path, error: sqlite3.Error) -> WrongUsage:
    return WrongUsage(
        f"the ledger cannot be opened: {error}", where=str(path), do="Put it back from your backup, or move it away"
    )
