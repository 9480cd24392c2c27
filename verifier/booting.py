"""The command `boot`: have the system start the service, saying first what is written and where."""

import os
import sys
from pathlib import Path

from verifier.bench import open_bench
from verifier.bench.durable import make_folder, write_file
from verifier.boot import StartFile, launch_agent, scheduled_task, user_unit, watch_words
from verifier.screen import Screen


def boot_bench(bench: Path, screen: Screen, *, write: bool, cluster: str | None = None) -> None:
    """Show the start file of this system for a bench, and write it when asked to.

    cluster : address of a scheduler whose workers do the jobs; None does them on this machine
    Raises WrongUsage for a folder that is no bench, or whose path no start file can hold, and for a cluster that cannot
    be had here.
    """
    root = open_bench(bench).root
    if cluster is not None:
        from verifier.bench.cluster import refuse_no_address  # a bench on one machine does without

        refuse_no_address(cluster)
    start = start_file_for(root, cluster)
    replaces = ", in place of the one there" if start.path.exists() else ""
    screen.say(f"{'Writing' if write else 'With --write this is written to'} {start.path}{replaces}:\n")
    screen.say(start.text)
    if write:
        make_folder(start.path.parent)
        write_file(start.path, start.text.encode(start.encoding))
        screen.say("Written. To have it started now and at every start of the machine, type:")
    else:
        screen.say("Nothing is written yet. After --write, type:")
    screen.say("\n".join(f"  {command}" for command in start.commands))
    screen.say("To undo it:\n" + "\n".join(f"  {command}" for command in start.stop))


def start_file_for(bench: Path, cluster: str | None = None) -> StartFile:
    """The start file of the system this runs on."""
    words = watch_words(bench, cluster)
    if sys.platform == "win32":
        user = f"{os.environ.get('USERDOMAIN', '.')}\\{os.environ.get('USERNAME', '')}"
        return scheduled_task(bench, words, Path(os.environ.get("LOCALAPPDATA", Path.home())), user)
    if sys.platform == "darwin":
        return launch_agent(bench, words, Path.home(), os.getuid())
    return user_unit(bench, words, Path(os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"))
