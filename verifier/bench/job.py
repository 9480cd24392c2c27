"""One dropped file on its way from the inbox to its result."""

from dataclasses import dataclass
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from verifier.inspection import JobVerdict


class State(StrEnum):
    """Where a job stands; each state has one way on, which may be taken twice without harm."""

    CLAIMING = "claiming"  # recorded; the file lies in the inbox or in the job's folder
    QUEUED = "queued"  # the file lies in the job's folder, or, for a job that runs again, among the originals
    RUNNING = "running"  # an attempt was counted; its folder is worth nothing until
    COMPUTED = "computed"  # the result lies synced in the attempt's folder
    DONE = "done"
    SET_ASIDE = "set aside"


class Outcome(BaseModel):
    """What a compute function says of its result, in outcome.json."""

    model_config = ConfigDict(frozen=True)

    part: str
    verdict: JobVerdict
    reasons: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()
    exit: int
    sheet_sha256: str | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """Digests of the rules an attempt started with: the part's own sheet (None without one) and all the rest."""

    sheet: str | None
    rules: str


@dataclass(frozen=True, slots=True)
class Job:
    """One row of the journal.

    original_name : as the file system gave it, not always text
    scan_name : the same made safe; the part is its beginning
    fingerprint : inode, size and times of the file as claimed
    attempt : number of the last attempt, never used twice; failures, interruptions : how attempts ended badly
    verdict : of the last finished attempt; None for a job without one, and for one set aside
    sheet_sha256 : of the sheet the result rests on; sheet_seen, rules_seen : what lay there when the attempt began
    original : path below originals/, once it is filed
    seconds : time of each stage, as JSON; reasons, next_steps : JSON lists
    finish_number : counts finished jobs, since the wall clock may jump
    superseded_by : for a pass, the first later job of the part that was measured
    forgotten_at : when the person asked to be told of it no more
    turn : its place in the line, bench/turns.py; None for one that was never queued
    """

    id: int
    part: str
    original_name: bytes
    scan_name: str
    state: State
    size_bytes: int | None
    sha256: str | None
    fingerprint: str | None
    attempt: int
    failures: int
    interruptions: int
    verdict: JobVerdict | None
    reason: str | None
    reasons: str | None
    next_steps: str | None
    exit_code: int | None
    sheet_sha256: str | None
    sheet_seen: str | None
    rules_seen: str | None
    original: str | None
    seconds: str | None
    claimed_at: str
    started_at: str | None
    computed_at: str | None
    finished_at: str | None
    finish_number: int | None
    superseded_by: int | None
    forgotten_at: str | None
    turn: int | None

    @property
    def seen(self) -> Seen:
        """The rules the last attempt started with."""
        return Seen(self.sheet_seen, self.rules_seen or "")
