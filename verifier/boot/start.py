"""What the three systems' start files have in common."""

import hashlib
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from verifier.errors import WrongUsage


@dataclass(frozen=True, slots=True)
class StartFile:
    """A file that has the system start the service.

    encoding : the one its reader wants
    commands : what the person types once it is written; stop : what undoes that
    """

    path: Path
    text: str
    encoding: str
    commands: tuple[str, ...]
    stop: tuple[str, ...]


def start_name(bench: Path) -> str:
    """A name of plain letters for one bench; six characters of the path's digest keep two of one name apart.

    Raises WrongUsage for a path with control characters, which no start file can hold.
    """
    if not str(bench).isprintable():
        raise WrongUsage(
            "its name holds a control character, and no start file can hold one",
            where=ascii(str(bench)),
            do="Rename the folder",
        )
    plain = re.sub(r"[^A-Za-z0-9]+", "-", bench.name).strip("-").lower() or "bench"
    return f"verifier-{plain}-{hashlib.sha256(str(bench).encode()).hexdigest()[:6]}"


def watch_words(bench: Path, cluster: str | None = None) -> list[str]:
    """The command that is started, word by word: this very Python, wherever it is installed.

    cluster : address of a scheduler whose workers do the jobs; None does them on this machine
    """
    return [sys.executable, "-m", "verifier", "watch", str(bench), *(["--cluster", cluster] if cluster else [])]
