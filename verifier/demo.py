"""The command `demo`: a bench of our own, the real service, five exports, and what comes of them."""

import shutil
import subprocess
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from verifier.bench import Job, new_bench, status
from verifier.errors import EXIT_FAIL, EXIT_PASS, WrongUsage
from verifier.reporting import terminal
from verifier.screen import Screen
from verifier.shipped import demo_folder, rules_folder

DEMO_BENCH = "verifier-demo"
# The five take about half a minute on two cores; a machine ten times slower still finishes.
PATIENCE_S = 600.0
LOOK_EVERY_S = 0.5


def run_demo(bench: Path | None, screen: Screen) -> int:
    """Run the demo in a new folder; 0 when every export got the verdict it was made for, 1 otherwise."""
    folder = bench or _free_folder(Path(DEMO_BENCH))
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise WrongUsage("the demo wants a folder of its own", where=str(folder), do="Give a new folder")
    new_bench(folder, rules_folder())
    shutil.copytree(demo_folder() / "sheets", folder / "rules" / "sheets", dirs_exist_ok=True)
    wanted = tomllib.loads((demo_folder() / "expected.toml").read_text(encoding="utf-8"))["verdict"]
    screen.say(f"Made the bench {folder}. Starting the service and dropping {len(wanted)} exports into its inbox.\n")
    with _service(folder):
        for export in sorted(wanted):
            shutil.copyfile(demo_folder() / "exports" / export, folder / "inbox" / export)
        jobs = _finished(folder, len(wanted))
    return _tell(jobs, wanted, folder, screen)


def _free_folder(wanted: Path) -> Path:
    """The folder, or the next of that name with a number, so that a second demo loses nothing of the first."""
    numbered = (wanted if n == 1 else wanted.with_name(f"{wanted.name}-{n}") for n in range(1, 1000))
    return next(folder for folder in numbered if not folder.exists())


@contextmanager
def _service(folder: Path) -> Iterator[None]:
    """The service as a person starts it, in a process of its own; its reports go straight to the terminal."""
    service = subprocess.Popen([sys.executable, "-m", "verifier", "watch", str(folder)])
    try:
        yield
    finally:
        service.terminate()
        service.wait(timeout=30)


def _finished(folder: Path, count: int) -> tuple[Job, ...]:
    """Wait until so many jobs are done, or patience ends."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        jobs = status(folder).latest
        if len(jobs) >= count:
            return jobs
        time.sleep(LOOK_EVERY_S)
    return status(folder).latest


def _tell(jobs: tuple[Job, ...], wanted: dict[str, str], folder: Path, screen: Screen) -> int:
    """The summary, and whether it is what the exports were made for."""
    by_name = {job.scan_name: job for job in jobs}
    rows = [
        (
            job.part,
            job.verdict,
            job.reason or "",
            str(folder / ("slicer" if job.verdict == "PASS" else f"held/{job.part}")),
        )
        for name in sorted(wanted)
        if (job := by_name.get(name)) and job.verdict
    ]
    screen.say("What came of the five:\n")
    screen.say(terminal.render_summary(rows, width=screen.width, colour=screen.colour, ascii_only=screen.ascii_only))
    odd = {
        name: verdict
        for name, verdict in wanted.items()
        if by_name.get(name) is None or by_name[name].verdict != verdict
    }
    for name, verdict in odd.items():
        found = by_name[name].verdict if name in by_name else "no result"
        screen.complain(f"{name} was made to come out {verdict}, and came out {found}")
    screen.say(
        f"Open {folder / 'slicer' / 'latch_lever.report.html'} in a browser; fill in the sheet that was drafted,"
    )
    screen.say(f"{folder / 'rules' / 'sheets' / 'seat_armrest.toml'}, and run: verifier watch {folder}")
    return EXIT_FAIL if odd else EXIT_PASS
