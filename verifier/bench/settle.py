"""When a file in the inbox is whole."""

import os
import signal
import stat
import sys
from dataclasses import dataclass
from pathlib import Path

from verifier.bench.durable import TO_READ
from verifier.bench.limits import Limits


@dataclass(frozen=True, slots=True)
class Fingerprint:
    """What changes when a file is written to or replaced."""

    inode: int
    size_bytes: int
    modified_ns: int
    changed_ns: int

    def __str__(self) -> str:
        return f"{self.inode}:{self.size_bytes}:{self.modified_ns}:{self.changed_ns}"


def fingerprint_of(status: os.stat_result) -> Fingerprint:
    """The fingerprint in a file's status."""
    return Fingerprint(status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns)


# Ignored unless a program asks for it (POSIX, signal.h), and nothing here does.
_IGNORED_SIGNAL = getattr(signal, "SIGURG", 0)


class Stillness:
    """Remembers since when each file has been the same. Times are the caller's, of any clock that only runs on."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._since: dict[str, tuple[Fingerprint, float]] = {}

    def still_in_s(self, name: str, fingerprint: Fingerprint, now_s: float, *, slow: bool = False) -> float:
        """Seconds until the file counts as still if nothing changes it; 0 or less when it does.

        slow : it comes in several pieces, with pauses in between
        """
        known, since_s = self._since.get(name, (None, now_s))
        if known != fingerprint:
            since_s = now_s
            self._since[name] = (fingerprint, now_s)
        return since_s + (self._limits.slow_settle_s if slow else self._needed_s(name)) - now_s

    def keep_only(self, names: set[str]) -> None:
        """Forget files that are gone."""
        self._since = {name: known for name, known in self._since.items() if name in names}

    def _needed_s(self, name: str) -> float:
        return self._limits.slow_settle_s if name.lower().endswith(".obj") else self._limits.settle_s


def why_not_readable(path: Path) -> str | None:
    """What keeps the file from being taken although it is still: no permission, or a program that has it open.

    Asked only of still files; opening does not follow links or wait for pipes.
    """
    try:
        descriptor = os.open(path, TO_READ)
    except PermissionError:
        on_windows = sys.platform == "win32"
        return "a program has it open, or it is read-only" if on_windows else "there is no permission to read it"
    except OSError as error:
        return f"it cannot be opened: {error.strerror}"
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            return "it is no file"
        return "a program has it open for writing" if _has_a_writer(descriptor) else None
    finally:
        os.close(descriptor)


def _has_a_writer(descriptor: int) -> bool:
    """Ask Linux for a read lease: it is granted only while nobody has the file open for writing.

    Where leases are not to be had (another system, another owner's file, a share) the answer is no.
    """
    if sys.platform != "linux":
        return False
    import fcntl

    try:
        # Should a writer come in the microseconds the lease lasts, its signal must be one that is ignored.
        fcntl.fcntl(descriptor, fcntl.F_SETSIG, _IGNORED_SIGNAL)
        fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_RDLCK)
        fcntl.fcntl(descriptor, fcntl.F_SETLEASE, fcntl.F_UNLCK)
    except BlockingIOError:
        return True
    except OSError:
        return False
    return False
