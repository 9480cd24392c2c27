"""The only place where the reading room touches the disk: a file's bytes, taken once, within limits."""

import errno
import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path

from verifier.errors import CannotOpen, TooLarge, Truncated, VerifierError

# Not following links and not waiting for the other end of a pipe; Windows has neither, and has pipes elsewhere.
OPEN_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
)
SEEK_HOLE: int | None = getattr(os, "SEEK_HOLE", None)
EXPORT_AGAIN = "Export the scan again and drop it once the export has finished"


@dataclass(frozen=True, slots=True)
class FileBytes:
    """What was in a file at the one moment it was read.

    name : the file's name, safe to print
    data : all of its bytes
    sha256 : of exactly these bytes
    """

    name: str
    data: bytes
    sha256: str


def printable(name: str) -> str:
    """A file name safe for a terminal, a log and JSON: what cannot be printed becomes a replacement mark.

    Control characters could move the cursor or colour the line; direction marks could show another name; lone
    surrogates stand for bytes that are not UTF-8 and stop every encoder.
    """
    return "".join(letter if letter.isprintable() else "\ufffd" for letter in name)


def take_bytes(path: Path, max_bytes: int) -> FileBytes:
    """Read a regular file once.

    Raises CannotOpen (missing, no permission, a link, a folder, a pipe, a device), TooLarge, Truncated (empty, with
    parts never written, or changed while it was read).
    """
    where = printable(path.name)
    handle = _opened(path, where)
    try:
        facts = os.fstat(handle)
        _refuse_special(facts, where)
        _refuse_size(facts.st_size, max_bytes, where)
        if _has_holes(handle, facts):
            raise Truncated("parts of it were never written: the file has holes", where=where, do=EXPORT_AGAIN)
        data = _all_of(handle, facts.st_size, where)
    finally:
        os.close(handle)
    return FileBytes(where, data, hashlib.sha256(data).hexdigest())


def _opened(path: Path, where: str) -> int:
    if not OPEN_FLAGS & getattr(os, "O_NOFOLLOW", 0) and path.is_symlink():
        raise _is_a_link(where)
    if path.is_dir() and not path.is_symlink():
        raise CannotOpen("it is a folder", where=where, do="Drop the mesh file itself")
    try:
        return os.open(path, OPEN_FLAGS)
    except ValueError as error:  # a name with a NUL in it never reaches the system
        raise CannotOpen("no file can have this name", where=where, do="Rename it") from error
    except OSError as error:
        raise _refused_by_system(error, where) from error


def _refused_by_system(error: OSError, where: str) -> VerifierError:
    if error.errno in (errno.ELOOP, errno.EMLINK):  # Linux and macOS say the first, some BSDs the second
        return _is_a_link(where)
    if isinstance(error, FileNotFoundError):
        return CannotOpen("there is no such file", where=where, do="Check the name and drop it again")
    if isinstance(error, PermissionError):
        return CannotOpen("it may not be read: no permission", where=where, do="Allow reading it, or copy it anew")
    return CannotOpen(
        f"the system does not open it: {error.strerror}", where=where, do="Copy it anew and drop the copy"
    )


def _is_a_link(where: str) -> CannotOpen:
    return CannotOpen("it is a link to another file", where=where, do="Drop the file itself")


def _refuse_special(facts: os.stat_result, where: str) -> None:
    if not stat.S_ISREG(facts.st_mode):
        raise CannotOpen("it is a folder, a pipe or a device, no file", where=where, do="Drop the mesh file itself")


def _refuse_size(size: int, max_bytes: int, where: str) -> None:
    if size == 0:
        raise Truncated("it is empty: 0 bytes", where=where, do=EXPORT_AGAIN)
    if size > max_bytes:
        raise TooLarge(
            f"it has {size:,} bytes and the limit is {max_bytes:,}",
            where=where,
            do="Export it with fewer triangles, or raise max_file_bytes in the acceptance rules",
        )


def _has_holes(handle: int, facts: os.stat_result) -> bool:
    """Whether a stretch of the file has no storage behind it: 10 GB of nothing costs its sender nothing."""
    if getattr(facts, "st_file_attributes", 0) & stat.FILE_ATTRIBUTE_SPARSE_FILE:  # Windows
        return True
    if SEEK_HOLE is None:
        return False
    try:
        first_hole = os.lseek(handle, 0, SEEK_HOLE)
    except OSError:  # a file system without this question; every byte counts as written
        return False
    os.lseek(handle, 0, os.SEEK_SET)
    return first_hole < facts.st_size


def _all_of(handle: int, size: int, where: str) -> bytes:
    try:
        with os.fdopen(handle, "rb", closefd=False) as file:
            data = file.read(size + 1)
    except OSError as error:
        raise CannotOpen(f"it cannot be read: {error.strerror}", where=where, do="Copy it anew") from error
    if len(data) != size:
        raise Truncated("it changed while it was being read", where=where, do=EXPORT_AGAIN)
    return data
