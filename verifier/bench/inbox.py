"""What lies in the inbox."""

import os
import stat
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from verifier.bench.names import is_companion, is_passing
from verifier.bench.settle import Fingerprint, fingerprint_of


class Kind(Enum):
    """What is done with an entry; the value says why it is left alone."""

    SCAN = ""
    FOLDER = "it is a folder, and several scans of one part cannot be joined yet: drop one scan as a file"
    LINK = "it is a link: drop the file itself"
    SPECIAL = "it is no file"
    COMPANION = "it is a material or a picture, and only the mesh beside it is measured"


@dataclass(frozen=True, slots=True)
class Entry:
    """One name in the inbox."""

    name: str
    kind: Kind
    fingerprint: Fingerprint


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
    return Entry(path.name, _kind_of(path.name, status.st_mode), fingerprint_of(status))


def _kind_of(name: str, mode: int) -> Kind:
    if stat.S_ISLNK(mode):
        return Kind.LINK
    if stat.S_ISDIR(mode):
        return Kind.FOLDER
    if not stat.S_ISREG(mode):
        return Kind.SPECIAL
    return Kind.COMPANION if is_companion(name) else Kind.SCAN
