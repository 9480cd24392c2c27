"""The command `watch`: serve a bench, and show what happens as it happens."""

import contextlib
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.live import Live
from rich.text import Text

from verifier.bench import (
    Claimed,
    Event,
    Finished,
    Notice,
    Ready,
    SetAside,
    Stage,
    TriedAgain,
    Waiting,
    open_bench,
    run_bench,
)
from verifier.bench.names import shown
from verifier.inspection import Inspection
from verifier.logbook import logbook
from verifier.picture import Picture
from verifier.readiness import Readiness
from verifier.reporting import terminal
from verifier.screen import Screen

REDRAWS_A_SECOND = 4


def watch_bench(bench: Path, screen: Screen, cluster: str | None = None) -> None:
    """Serve the bench until Ctrl-C or a request to end; unfinished work is taken up at the next start.

    cluster : address of a scheduler whose workers do the jobs; None does them on this machine
    """
    stop = threading.Event()
    for wanted in (signal.SIGINT, signal.SIGTERM):
        signal.signal(wanted, lambda _number, _frame: stop.set())
    place, readiness = open_bench(bench), Readiness.from_environment()
    with logbook(place.log) as write_down, _looking_on(screen, place.inbox) as (tell, on_look):

        def on_event(event: Event) -> None:
            write_down(event)
            tell(event)
            if isinstance(event, Ready):
                readiness.ready()

        def on_each_look() -> None:
            readiness.looked()
            on_look()

        run_bench(place.root, on_event, stop, on_look=on_each_look, cluster=cluster)
        readiness.stopping()
    screen.tell("Stopped. What was in hand goes on at the next start.")


Lookers = tuple[Callable[[Event], None], Callable[[], None]]


def _looking_on(screen: Screen, inbox: Path) -> contextlib.AbstractContextManager[Lookers]:
    """A live picture where there is a terminal that can show one, plain lines elsewhere."""
    can_draw = sys.stdout.isatty() and os.environ.get("TERM") != "dumb" and not screen.ascii_only
    if can_draw:
        return live_picture(Console(no_color=not screen.colour), inbox, screen)
    return contextlib.nullcontext((lambda event: show(event, screen), lambda: None))


@contextmanager
def live_picture(console: Console, inbox: Path, screen: Screen) -> Iterator[Lookers]:
    """Draw the picture at the foot of the terminal; results and notices stay above it."""
    picture, drawing = Picture(time.monotonic()), threading.Lock()

    def draw() -> object:
        with drawing:
            return picture.drawn(time.monotonic())

    def take(event: Event) -> None:
        with drawing:
            picture.take(event, time.monotonic())
        if isinstance(event, Finished | SetAside | Notice | TriedAgain):
            console.print(Text.from_ansi(line_of(event, screen)), soft_wrap=True)

    def look_again() -> None:
        with contextlib.suppress(OSError), drawing:
            picture.keep_waiting(shown(file.name) for file in inbox.iterdir())

    with Live(console=console, get_renderable=draw, refresh_per_second=REDRAWS_A_SECOND):  # type: ignore[arg-type]
        yield take, look_again


def show(event: Event, screen: Screen) -> None:
    """One event as the person reads it: reports on standard output, everything else on standard error."""
    if isinstance(event, Finished | SetAside):
        screen.say(line_of(event, screen))
    else:
        screen.tell(line_of(event, screen))


def line_of(event: Event, screen: Screen) -> str:
    """What is said of an event; a result brings its report as this screen can show it."""
    match event:
        case Ready(bench):
            return f"Watching {bench / 'inbox'}. Drop exports there; stop with Ctrl-C."
        case Waiting(name, reason):
            return f"{name} waits: {reason}"
        case Claimed(_, part, name, size_bytes):
            return f"{part}: took {name}, {size_bytes / 1e6:.1f} MB"
        case Stage(_, part, stage, seconds):
            return f"{part}: {stage}, after {seconds:.1f} s"
        case TriedAgain(_, part, reason):
            return f"{part} starts over: {reason}"
        case Finished(_, part, verdict, folder, mesh):
            made = "mesh and report" if mesh else "report"
            return f"{report_of(event, screen).rstrip()}\n{part}: {verdict}, {made} in {folder}\n"
        case SetAside(_, part, reason, folder):
            return f"{part}: set aside. {reason} The traceback is in {folder}\n"
        case Notice(text):
            return text


def report_of(finished: Finished, screen: Screen) -> str:
    """The report without its cautions and sources, which are counted; a refused scan has only its sentence."""
    told = next((report for report in finished.reports if report.suffix == ".json"), None)
    if told is None:
        return finished.summary
    inspection = Inspection.model_validate_json(told.read_bytes())
    return terminal.render(
        inspection, width=screen.width, colour=screen.colour, ascii_only=screen.ascii_only, brief=True
    )
