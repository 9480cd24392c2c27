"""The command `watch`: serve a bench, and show what happens as it happens."""

import signal
import threading
from pathlib import Path

from verifier.bench import Claimed, Event, Finished, Notice, Ready, SetAside, Stage, TriedAgain, Waiting, run_bench
from verifier.inspection import Inspection
from verifier.reporting import terminal
from verifier.screen import Screen


def watch_bench(bench: Path, screen: Screen) -> None:
    """Serve the bench until Ctrl-C or a request to end; unfinished work is taken up at the next start."""
    stop = threading.Event()
    for wanted in (signal.SIGINT, signal.SIGTERM):
        signal.signal(wanted, lambda _number, _frame: stop.set())
    run_bench(bench, lambda event: show(event, screen), stop)
    screen.tell("Stopped. What was in hand goes on at the next start.")


def show(event: Event, screen: Screen) -> None:
    """One event as the person reads it: reports on standard output, everything else on standard error."""
    match event:
        case Ready(bench):
            screen.tell(f"Watching {bench / 'inbox'}. Drop exports there; stop with Ctrl-C.")
        case Waiting(name, reason):
            screen.tell(f"{name}: waits. {reason}")
        case Claimed(_, part, name, size_bytes):
            screen.tell(f"{part}: took {name}, {size_bytes / 1e6:.1f} MB")
        case Stage(_, part, stage, seconds):
            screen.tell(f"{part}: {stage}, after {seconds:.1f} s")
        case TriedAgain(_, part, reason):
            screen.tell(f"{part}: starts over. {reason}")
        case Finished(_, part, verdict, folder, mesh):
            screen.say(report_of(event, screen).rstrip())
            screen.say(f"{part}: {verdict}, {'mesh and report' if mesh else 'report'} in {folder}\n")
        case SetAside(_, part, reason, folder):
            screen.say(f"{part}: set aside. {reason} The traceback is in {folder}\n")
        case Notice(text):
            screen.tell(text)


def report_of(finished: Finished, screen: Screen) -> str:
    """The report as this screen shows it; a scan that was refused has only its sentence."""
    told = next((report for report in finished.reports if report.suffix == ".json"), None)
    if told is None:
        return finished.summary
    inspection = Inspection.model_validate_json(told.read_bytes())
    return terminal.render(
        inspection, width=screen.width, colour=screen.colour, ascii_only=screen.ascii_only, brief=True
    )
