"""What a running service is at: a small file that is written anew at every step, for whoever looks in from outside.

Nothing is decided by it, so it is not synced, and a disk that has no room for it stops nothing.
"""

import contextlib
import os
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from verifier.bench.journal import utc_now


class Working(BaseModel):
    """A job under way: its stage, and the wall clock's time when that began."""

    model_config = ConfigDict(frozen=True)

    job: int
    stage: str
    since: str


class Pulse(BaseModel):
    """The service's process, when it started, when it last finished a look at the inbox, and what it works on."""

    model_config = ConfigDict(frozen=True)

    pid: int
    started_at: str
    looked_at: str
    working: tuple[Working, ...] = ()


def read_pulse(path: Path) -> Pulse | None:
    """The last one written; None when there is none to be read."""
    try:
        return Pulse.model_validate_json(path.read_bytes())
    except (OSError, ValidationError):
        return None


class PulseWriter:
    """Keeps the file up to date."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._started_at = self._looked_at = utc_now()
        self._working: dict[int, Working] = {}

    def looked(self) -> None:
        """A look at the inbox is over."""
        self._looked_at = utc_now()
        self._write()

    def stage(self, job: int, stage: str) -> None:
        """A job has come to a stage."""
        self._working[job] = Working(job=job, stage=stage, since=utc_now())
        self._write()

    def over(self, job: int) -> None:
        """An attempt at a job has ended."""
        if self._working.pop(job, None):
            self._write()

    def remove(self) -> None:
        """The service ends."""
        with contextlib.suppress(OSError):
            self._path.unlink()

    def _write(self) -> None:
        pulse = Pulse(
            pid=os.getpid(),
            started_at=self._started_at,
            looked_at=self._looked_at,
            working=tuple(self._working.values()),
        )
        beside = self._path.with_suffix(".part")
        with contextlib.suppress(OSError):
            beside.write_text(pulse.model_dump_json(), encoding="utf-8")
            beside.replace(self._path)
