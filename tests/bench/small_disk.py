"""Disks and rights for the tests of faults: real ones where this process may make them, stand-ins elsewhere."""

import contextlib
import ctypes
import errno
import functools
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from verifier.bench import journal
from verifier.bench.schema import LedgerCannotWrite

# <linux/capability.h>
CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH = 1, 2
CAPABILITIES_OF_64_BITS = 0x20080522


@functools.cache
def may_mount() -> bool:
    """Whether this process may mount: root may, unless it is locked into a container without that right."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        return False
    return subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False).returncode == 0


@contextlib.contextmanager
def mounted(place: Path, options: str) -> Iterator[None]:
    subprocess.run(["mount", "-t", "tmpfs", "-o", options, "none", str(place)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def fill(folder: Path, left_bytes: int) -> Path:
    """Fill the disk until so little is left; what fills it can be deleted."""
    ballast = folder / "ballast"
    free_bytes = shutil.disk_usage(folder).free
    with ballast.open("wb") as file, contextlib.suppress(OSError):
        file.write(b"x" * max(0, free_bytes - left_bytes))
    return ballast


class FullAfter:
    """The stand-in for a full disk: after so many syncs and journal entries none goes through until there is room."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, writes: int) -> None:
        self.left = writes
        fsync, entry = os.fsync, journal.Journal._write

        def full_fsync(descriptor: int) -> None:
            if not self._room():
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            fsync(descriptor)

        def full_entry(self_journal: journal.Journal, *arguments: object) -> object:
            if not self._room():
                raise LedgerCannotWrite("database or disk is full", where="ledger.db", do="Make room")
            return entry(self_journal, *arguments)

        monkeypatch.setattr(os, "fsync", full_fsync)
        monkeypatch.setattr(journal.Journal, "_write", full_entry)

    def _room(self) -> bool:
        self.left -= 1
        return self.left >= 0

    def make_room(self) -> None:
        self.left = 1 << 30


@contextlib.contextmanager
def obeying_rights() -> Iterator[None]:
    """Root may write anywhere; this thread, and those it starts, lay that down for a while (capabilities(7))."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        yield
        return
    kept = _capabilities()
    _set_capabilities([kept[0] & ~(1 << CAP_DAC_OVERRIDE | 1 << CAP_DAC_READ_SEARCH), *kept[1:]])
    try:
        yield
    finally:
        _set_capabilities(kept)


def _capabilities() -> list[int]:
    """Six words: effective, permitted and inheritable, the low 32 bits of each first (capget(2))."""
    words = (ctypes.c_uint32 * 6)()
    assert ctypes.CDLL(None).capget((ctypes.c_uint32 * 2)(CAPABILITIES_OF_64_BITS, 0), words) == 0
    return list(words)


def _set_capabilities(words: list[int]) -> None:
    header = (ctypes.c_uint32 * 2)(CAPABILITIES_OF_64_BITS, 0)
    assert ctypes.CDLL(None).capset(header, (ctypes.c_uint32 * 6)(*words)) == 0
