"""What lies in the inbox."""

import os
import stat
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from verifier.bench.names import is_companion, is_passing
from verifier.bench.scan_files import fingerprint_at, is_whole_scan
from verifier.bench.settle import Fingerprint, fingerprint_of
from verifier.rulebook.scan_names import SCAN_ENDINGS


class Kind(Enum):
    """What is done with an entry; the value says why it is left alone."""

    SCAN = ""
    EMPTY_FOLDER = "it is a folder without a scan in it"
    ODD_FOLDER = "it is a folder with links or folders in it: put only the scans of one part into it"
    LINK = "it is a link: drop the file itself"
    SPECIAL = "it is no file"
    COMPANION = "it is a material or a picture, and only the mesh beside it is measured"


@dataclass(frozen=True, slots=True)
class Entry:
    """One name in the inbox, or several names that are scans of one part.

    name : of several, all of them with the one character between that no name has: /
    several : a folder of scans or several files, which come one after the other
    scans : how many there are so far
    missing : numbers of the scans that are still to come
    """

    name: str
    kind: Kind
    fingerprint: Fingerprint
    several: bool = False
    scans: int = 1
    missing: tuple[int, ...] = ()

    @property
    def names(self) -> list[str]:
        """The names in the inbox."""
        return self.name.split("/")


def together(entries: Sequence[Entry], missing: Sequence[int]) -> Entry:
    """Several files as the scans of one part."""
    each = [entry.fingerprint for entry in entries]
    combined = Fingerprint(
        inode=sum(one.inode for one in each),
        size_bytes=sum(one.size_bytes for one in each),
        modified_ns=max(one.modified_ns for one in each),
        changed_ns=max(one.changed_ns for one in each),
    )
    name = "/".join(entry.name for entry in entries)
    return Entry(name, Kind.SCAN, combined, several=True, scans=len(entries), missing=tuple(missing))


def look_into(inbox: Path) -> list[Entry]:
    """Everything in the inbox but hidden and temporary names, small files first.

    Raises OSError when the inbox cannot be read.
    """
    with os.scandir(inbox) as listing:
        found = [entry_at(Path(item.path)) for item in listing if not is_passing(item.name)]
    return sorted((entry for entry in found if entry), key=lambda entry: (entry.fingerprint.size_bytes, entry.name))


def entry_at(path: Path) -> Entry | None:
    """One name as it stands now; None when it is gone."""
    try:
        # A fresh look: on Windows the listing's own status lags behind a file that is being written.
        status = path.lstat()
    except FileNotFoundError:
        return None
    if stat.S_ISDIR(status.st_mode):
        return _folder_at(path)
    return Entry(path.name, _kind_of(path.name, status.st_mode), fingerprint_of(status))


def again(inbox: Path, entry: Entry) -> Entry | None:
    """The same as it stands now; None when any of it is gone."""
    if len(entry.names) == 1:
        return entry_at(inbox / entry.name)
    now = [entry_at(inbox / name) for name in entry.names]
    here = [each for each in now if each is not None and each.kind is Kind.SCAN and not each.several]
    return together(here, entry.missing) if len(here) == len(now) else None


def _folder_at(path: Path) -> Entry | None:
    try:
        names = [file.name for file in path.iterdir() if not is_passing(file.name)]
        scans = sum(name.lower().endswith(SCAN_ENDINGS) for name in names)
        kind = Kind.SCAN if is_whole_scan(path) else Kind.ODD_FOLDER
        return Entry(path.name, kind if scans else Kind.EMPTY_FOLDER, fingerprint_at(path), several=True, scans=scans)
    except FileNotFoundError:
        return None  # gone, or changed in this very moment: the next look will tell


def _kind_of(name: str, mode: int) -> Kind:
    if stat.S_ISLNK(mode):
        return Kind.LINK
    if not stat.S_ISREG(mode):
        return Kind.SPECIAL
    return Kind.COMPANION if is_companion(name) else Kind.SCAN
