"""One service a bench."""

import os
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from verifier.errors import BenchBusy, WrongUsage

# Whoever asks whether a bench is watched holds the lock for less than a millisecond; a start outlasts that.
ATTEMPTS = 4
PAUSE_S = 0.05


@contextmanager
def hold_lock(path: Path) -> Iterator[None]:
    """Hold the bench's lock; the system lets it go with the process, however that ends.

    Raises BenchBusy when another process holds it, WrongUsage where the bench cannot be written to.
    """
    descriptor = _open(path)
    try:
        if not _try_several_times(descriptor):
            raise BenchBusy(
                "another verifier watches this bench",
                where=str(path.parent.parent),
                do="Use that one, or stop it first",
            )
        yield
    finally:
        os.close(descriptor)


def _open(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o644)
    except OSError as error:
        raise WrongUsage(
            f"the bench cannot be written to ({error.strerror})",
            where=str(path.parent.parent),
            do="Give yourself the right to write there, or move the bench",
        ) from error


def is_held(path: Path) -> bool:
    """Whether a service watches the bench just now."""
    try:
        descriptor = os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return False
    try:
        return not _try(descriptor)
    finally:
        os.close(descriptor)


def _try_several_times(descriptor: int) -> bool:
    for _ in range(ATTEMPTS):
        if _try(descriptor):
            return True
        time.sleep(PAUSE_S)
    return False


if sys.platform == "win32":
    import msvcrt

    def _try(descriptor: int) -> bool:
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _try(descriptor: int) -> bool:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True
