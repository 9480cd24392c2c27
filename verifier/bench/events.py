"""What the service tells whoever is looking: small values, in the order things happen. Nothing here prints."""

from dataclasses import dataclass
from pathlib import Path

from verifier.inspection import JobVerdict


@dataclass(frozen=True, slots=True)
class Ready:
    """The bench is watched: what lay in the inbox has been seen, unfinished work has been taken up again."""

    bench: Path


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file stays in the inbox for now."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class Claimed:
    """A file was taken out of the inbox and recorded."""

    job: int
    part: str
    name: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Stage:
    """A job has come to a stage; seconds counts from the start of this attempt."""

    job: int
    part: str
    stage: str
    seconds: float


@dataclass(frozen=True, slots=True)
class TriedAgain:
    """A job starts over, and why."""

    job: int
    part: str
    reason: str


@dataclass(frozen=True, slots=True)
class Finished:
    """A result stands complete in its folder.

    folder : the slicer folder, or held/PART
    mesh : the mesh in it; None for a scan that could not be used
    summary : the report as plain text
    """

    job: int
    part: str
    verdict: JobVerdict
    folder: Path
    mesh: Path | None
    reports: tuple[Path, ...]
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...]
    summary: str


@dataclass(frozen=True, slots=True)
class SetAside:
    """A job was given up; folder holds the reason and the traceback."""

    job: int
    part: str
    reason: str
    folder: Path


@dataclass(frozen=True, slots=True)
class Notice:
    """Something the person should know, said once."""

    text: str


Event = Ready | Waiting | Claimed | Stage | TriedAgain | Finished | SetAside | Notice
