"""A launch agent for macOS (launchd.plist(5)). Made from the manual's page; not tried on a Mac."""

import plistlib
import shlex
from collections.abc import Sequence
from pathlib import Path

from verifier.boot.start import StartFile, start_name


def launch_agent(bench: Path, words: Sequence[str], home: Path, user: int) -> StartFile:
    """The agent for a bench, of the person with this home folder and user number. It starts with their log-in."""
    name = start_name(bench)
    path = home / "Library" / "LaunchAgents" / f"{name}.plist"
    agent = {
        "Label": name,
        "ProgramArguments": list(words),
        "RunAtLoad": True,
        # A crash is followed by a new start; a request to end is not.
        "KeepAlive": {"SuccessfulExit": False},
        "ThrottleInterval": 30,
        "StandardOutPath": "/dev/null",  # the log is verifier.log in the bench
        "StandardErrorPath": str(bench / ".work" / "launchd.log"),
    }
    return StartFile(
        path=path,
        text=plistlib.dumps(agent, sort_keys=False).decode("utf-8"),
        encoding="utf-8",
        commands=(f"launchctl bootstrap gui/{user} {shlex.quote(str(path))}",),
        stop=(f"launchctl bootout gui/{user}/{name}", f"rm {shlex.quote(str(path))}"),
    )
