"""Writing that survives a power cut: what these functions return from is on the disk, if the disk honours sync."""

import contextlib
import errno
import hashlib
import os
import shutil
import sys
from pathlib import Path

DISK_FULL = frozenset({errno.ENOSPC, errno.EDQUOT})
# A link is not followed and a pipe not waited for. Windows syncs only through a handle that may write, and refuses
# one while a writer has the file open without sharing.
if sys.platform == "win32":
    TO_READ = os.O_RDWR
else:
    TO_READ = os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK


def sync_file(path: Path) -> None:
    """Have the file's bytes on the disk. Links are not followed and pipes not waited for."""
    descriptor = os.open(path, TO_READ)
    try:
        _sync(descriptor)
    finally:
        os.close(descriptor)


def sync_folder(path: Path) -> None:
    """Have the folder's entries on the disk. Windows has no such call and journals them itself."""
    if sys.platform == "win32":
        return
    descriptor = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        _sync(descriptor)
    finally:
        os.close(descriptor)


def _sync(descriptor: int) -> None:
    """On macOS fsync stops at the drive's own cache; its manual page fsync(2) names the call that goes on."""
    if sys.platform == "darwin":
        import fcntl

        with contextlib.suppress(OSError):  # a share, which knows no such call
            fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
            return
    os.fsync(descriptor)


def make_folder(path: Path) -> None:
    """Make a folder and those above it, each entered durably in the one above."""
    if not path.is_dir():
        make_folder(path.parent)
        path.mkdir(exist_ok=True)
        sync_folder(path.parent)


def write_file(path: Path, data: bytes) -> None:
    """Write beside, sync, rename into place: a reader finds the old file or the new one."""
    lay_file(path, data)
    sync_folder(path.parent)


def lay_file(path: Path, data: bytes) -> None:
    """The same for a file whose folder is synced by the caller, with others in it."""
    beside = path.with_name(f".{path.name}.part")
    beside.write_bytes(data)
    sync_file(beside)
    beside.replace(path)


def place_file(source: Path, target: Path) -> None:
    """Bring a synced file to its place in one step, replacing what stands there.

    On another file system it is copied under a hidden name first; the source then stays until its folder is removed.
    """
    try:
        source.replace(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        lay_copy(source, target)
    sync_folder(target.parent)


def move_away(source: Path, target: Path) -> None:
    """Move a file or a folder to a free name, also to another file system."""
    make_folder(target.parent)
    try:
        source.rename(target)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        lay_copy(source, target)
        source.unlink()
    sync_folder(target.parent)
    sync_folder(source.parent)


def lay_copy(source: Path, target: Path) -> None:
    """Copy, whole or not at all; that it is there at all is sure once the caller has synced the target's folder."""
    beside = target.with_name(f".{target.name}.part")
    shutil.copyfile(source, beside)
    sync_file(beside)
    beside.replace(target)


def copy_file(source: Path, target: Path) -> None:
    """Copy durably; the target appears whole or not at all."""
    lay_copy(source, target)
    sync_folder(target.parent)


def sha256_of(path: Path) -> str:
    """Hexadecimal SHA-256 of a file."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def free_name(wanted: Path) -> Path:
    """The path itself, or with the first number in front that nobody has: a thing kept is never written over."""
    candidate, number = wanted, 1
    while os.path.lexists(candidate):
        number += 1
        candidate = wanted.with_name(f"{number}-{wanted.name}")
    return candidate
