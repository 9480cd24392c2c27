"""A service for tests: as a process that can be killed, or in this one until it has nothing left to do."""

import contextlib
import dataclasses
import hashlib
import json
import multiprocessing.util
import os
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from multiprocessing.process import BaseProcess
from pathlib import Path

from verifier.bench import Bench, Event, Limits, new_bench, run_bench
from verifier.bench.attempt import prepare_workers
from verifier.bench.crashpoint import VARIABLE

HERE = Path(__file__).parent
# Waits short enough that the tests take seconds. The order of things is the same as with the real ones.
QUICK = Limits(
    memory_bytes=1 << 30,
    parallel_jobs=2,
    settle_s=0.1,
    slow_settle_s=0.4,
    rescan_s=0.3,
    rules_settle_s=0.1,
    deadline_s=20.0,
    least_free_bytes=1 << 20,
)


def quick(**changes: object) -> Limits:
    return dataclasses.replace(QUICK, **changes)


def make_bench(folder: Path) -> Bench:
    rules = folder / "shipped_rules"
    (rules / "sheets").mkdir(parents=True)
    (rules / "filaments.toml").write_text("name = 'PETG'", encoding="utf-8")
    return new_bench(folder / "bench", rules)


def drop(bench: Bench, name: str | bytes, content: str = "PASS\n") -> None:
    """Put a file in as a file manager does: written beside, then moved in."""
    beside = bench.root / f"dropping-{threading.get_ident()}"
    beside.write_text(content, encoding="utf-8")
    os.rename(beside, os.path.join(os.fsencode(bench.inbox), os.fsencode(name)))  # noqa: PTH104, PTH118


def serve_until_idle(bench: Bench, compute: str = "stubs:normal", limits: Limits = QUICK) -> list[Event]:
    events: list[Event] = []
    run_bench(bench.root, events.append, threading.Event(), compute=compute, until_idle=True, limits=limits)
    return events


@contextlib.contextmanager
def serving(
    bench: Bench, compute: str = "stubs:normal", limits: Limits = QUICK, cluster: str | None = None
) -> Iterator[list[Event]]:
    """A service in a thread of this process; its events as they come."""
    events: list[Event] = []
    stop = threading.Event()
    thread = threading.Thread(
        target=run_bench,
        args=(bench.root, events.append, stop),
        kwargs={"compute": compute, "limits": limits, "cluster": cluster},
    )
    thread.start()
    try:
        yield events
    finally:
        stop.set()
        thread.join()


def serve_in_a_process(
    bench: Bench, compute: str, crash_at: str = "", *, until_idle: bool = True, cluster: str | None = None
) -> BaseProcess:
    """A service in a process that starts in a few hundredths of a second and can be killed."""
    prepare_workers(compute)
    context = multiprocessing.get_context("forkserver")
    process = context.Process(target=serve_here, args=(bench.root, compute, crash_at, until_idle, cluster))
    process.start()
    return process


def serve_here(root: Path, compute: str, crash_at: str, until_idle: bool, cluster: str | None = None) -> None:
    """In a process that is this service's own, with everything loaded already."""
    if sys.platform == "linux":
        multiprocessing.util.spawnv_passfds = _start_without_loading
    os.environ[VARIABLE] = crash_at
    run_bench(
        root,
        lambda _: None,
        threading.Event(),
        compute=compute,
        until_idle=until_idle,
        limits=QUICK,
        cluster=cluster,
    )


def _start_without_loading(executable: bytes, arguments: list[str], descriptors: Sequence[int]) -> int:
    """Stand-in for multiprocessing's start of a new Python, for a process that has everything loaded already.

    Sixty starts that load numpy and scipy for their workers would take minutes. As with a new Python nothing is
    inherited but the descriptors that are passed on: not the bench's lock, above all.
    """
    pid = os.fork()
    if pid == 0:
        kept = {0, 1, 2, *descriptors}
        for name in os.listdir("/proc/self/fd"):  # noqa: PTH208
            if int(name) not in kept:
                with contextlib.suppress(OSError):
                    os.close(int(name))
        try:
            exec(arguments[-1])
        finally:
            os._exit(0)
    return pid


def results_of(bench: Bench) -> list[tuple[str, str]]:
    """Digest of the scan and verdict, of every report that lies anywhere outside the folder of work in hand."""
    reports = [file for folder in (bench.slicer, bench.held) for file in folder.rglob("*.report.json")]
    told = [json.loads(report.read_text()) for report in reports]
    return sorted((report["scan"], report["verdict"]) for report in told)


def mesh_is_whole_and_beside_its_report(mesh: Path) -> bool:
    data, report = mesh.read_bytes(), json.loads((mesh.parent / f"{mesh.stem}.report.json").read_text())
    return data.endswith(b"end") and data.count(report["scan"].encode()) == 2000


def daemon(bench: Bench, compute: str = "stubs:normal", *, until_idle: bool = True) -> subprocess.Popen:
    """A service in a process of its own."""
    command = [sys.executable, str(HERE / "daemon.py"), str(bench.root), compute, "until-idle" if until_idle else "on"]
    path = os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")])
    return subprocess.Popen(
        command,
        env={**os.environ, "PYTHONPATH": path},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def until(condition: Callable[[], object], seconds: float = 10.0) -> None:
    """Wait for a condition; a wait that is too long fails the test."""
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, f"{condition} did not come about within {seconds} s"
        time.sleep(0.01)


def rows(bench: Bench) -> list[sqlite3.Row]:
    with contextlib.closing(sqlite3.connect(bench.ledger)) as db:
        db.row_factory = sqlite3.Row
        return list(db.execute("SELECT * FROM jobs ORDER BY id"))


def digest(content: str) -> str:
    return hashlib.sha256(content.encode()).hexdigest()


def files_below(folder: Path) -> list[str]:
    return sorted(file.relative_to(folder).as_posix() for file in folder.rglob("*") if file.is_file())


def nothing_is_left_in_hand(bench: Bench) -> bool:
    return not list(bench.jobs.iterdir()) and not list(bench.inbox.iterdir())
