"""One attempt's permit to be worked on elsewhere: small files in the attempt's folder, which both sides see.

An engine may start a task twice, or go on with one nobody waits for any more. The permit is taken by a rename, which
only one can do; whoever works looks whether it is still there, and stops when it was withdrawn or the folder is gone.
"""

import contextlib
import json
from pathlib import Path


class Ticket:
    """The permit in one attempt's folder."""

    def __init__(self, attempt: Path) -> None:
        self._attempt = attempt
        self._free, self._taken, self._stages = attempt / "free", attempt / "taken", attempt / "stages"
        self._told = 0

    def issue(self) -> None:
        """Let the attempt be taken, once."""
        self._free.touch(exist_ok=False)

    def take(self) -> bool:
        """Whether this caller is the one to do the work."""
        try:
            self._free.rename(self._taken)
        except OSError:
            return False
        return True

    @property
    def holds(self) -> bool:
        """Whether the work is still wanted by whoever issued it."""
        return self._taken.exists()

    def withdraw(self) -> None:
        """The work is wanted no more; who is at it stops, and who comes later does not begin."""
        for mark in (self._free, self._taken):
            with contextlib.suppress(OSError):
                mark.unlink()

    def reach(self, stage: str, seconds: float) -> None:
        """Note, where the work is done, a stage it has come to."""
        with contextlib.suppress(OSError), self._stages.open("a", encoding="utf-8") as stages:
            stages.write(json.dumps([stage, seconds]) + "\n")

    def reached(self) -> list[tuple[str, float]]:
        """Stages noted since they were last asked for; a line that is still being written is left for the next time."""
        try:
            told = self._stages.read_text(encoding="utf-8").split("\n")[:-1]
        except OSError:
            return []
        new, self._told = told[self._told :], len(told)
        return [(str(stage), float(seconds)) for stage, seconds in map(json.loads, new)]
