"""The files of one job's scan: a single file, or a folder of several scans of one part."""

import hashlib
import os
import shutil
import stat
from pathlib import Path

from verifier.bench.durable import lay_copy, sha256_of, sync_file, sync_folder
from verifier.bench.settle import Fingerprint, fingerprint_of


def files_of(scan: Path) -> list[Path]:
    """The file itself, or everything in the folder, by name.

    Raises OSError when it is gone.
    """
    return sorted(scan.iterdir()) if stat.S_ISDIR(scan.lstat().st_mode) else [scan]


def is_whole_scan(scan: Path) -> bool:
    """A regular file, or a folder of nothing but regular files; no links, which may lead anywhere."""
    try:
        files = files_of(scan)
        return bool(files) and all(stat.S_ISREG(file.lstat().st_mode) for file in files)
    except FileNotFoundError:
        return False


def fingerprint_at(scan: Path) -> Fingerprint:
    """What changes when anything of it is written to, replaced, added or removed.

    Raises OSError when it is gone.
    """
    status = scan.lstat()
    if not stat.S_ISDIR(status.st_mode):
        return fingerprint_of(status)
    each = [fingerprint_of(file.lstat()) for file in files_of(scan)]
    everything = [fingerprint_of(status), *each]
    return Fingerprint(
        inode=status.st_ino,
        size_bytes=sum(one.size_bytes for one in each),
        modified_ns=max(one.modified_ns for one in everything),
        changed_ns=max(one.changed_ns for one in everything),
    )


def digest_of(scan: Path) -> str:
    """SHA-256 of the file, or of the folder's names and digests."""
    if not scan.is_dir():
        return sha256_of(scan)
    told = [os.fsencode(file.name) + b"\0" + sha256_of(file).encode() for file in files_of(scan)]
    return hashlib.sha256(b"\n".join(told)).hexdigest()


def sync_scan(scan: Path) -> None:
    """Have every byte on the disk."""
    for file in files_of(scan):
        sync_file(file)
    if scan.is_dir():
        sync_folder(scan)


def copy_scan(source: Path, target: Path) -> None:
    """Copy; the target appears whole or not at all. A power cut may take it away again, and it is copied anew."""
    if not source.is_dir():
        lay_copy(source, target)
        return
    beside = target.with_name(f".{target.name}.part")
    shutil.rmtree(beside, ignore_errors=True)
    beside.mkdir()
    for file in files_of(source):
        lay_copy(file, beside / file.name)
    sync_folder(beside)  # or it might be there with a scan missing
    beside.rename(target)
