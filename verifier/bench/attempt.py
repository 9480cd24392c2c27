"""The outside of a worker process: start it, listen to it, stop it when it overruns, and say how it ended."""

import contextlib
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum
from itertools import pairwise
from multiprocessing import forkserver
from multiprocessing.connection import wait
from multiprocessing.context import BaseContext
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

import psutil

from verifier.bench.limits import GIB, Limits
from verifier.bench.worker import work

LOOK_EVERY_S = 0.05
# Counting a whole tree reads every process of the machine, so children are counted less often.
COUNT_TREE_EVERY_S = 1.0
# Libraries and their threads map far more than they use; the backstop stays clear of that.
MAPPED_BESIDES_BYTES = 8 * GIB


# Windows has only the slow start, 0.7 s. On macOS the system's libraries, on which numpy may rest there, are not to be
# used on after a fork (Python's documentation of multiprocessing, "contexts and start methods").
_STARTS = "spawn" if sys.platform in ("win32", "darwin") else "forkserver"


class End(Enum):
    """How an attempt ended."""

    FINISHED = "finished"
    FAILED = "failed"
    DISK_FULL = "disk full"
    STOPPED = "stopped"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class AttemptEnd:
    """How an attempt ended, in a sentence, how long each stage took, and the most memory it was seen to use."""

    end: End
    sentence: str = ""
    seconds: dict[str, float] = field(default_factory=dict)
    peak_bytes: int = 0


@dataclass(frozen=True, slots=True)
class Order:
    """What one attempt is to do, and with how much.

    last_pass : the scan that the part last passed with, from the ledger, which no worker opens
    """

    compute: str
    scan: Path
    rules: Path
    out: Path
    limits: Limits
    last_pass: Path | None = None

    @property
    def log(self) -> Path:
        """What the worker prints."""
        return self.out.parent / "worker.log"


def prepare_workers(compute: str) -> None:
    """Load what jobs need once, so that each starts in milliseconds, where that is to be had."""
    if _STARTS == "forkserver":
        _context().set_forkserver_preload(["__main__", work.__module__, compute.partition(":")[0]])
        forkserver.ensure_running()


def run_attempt(
    order: Order,
    stop: threading.Event,
    on_stage: Callable[[str, float], None],
    on_memory: Callable[[int], None] = lambda _: None,
) -> AttemptEnd:
    """Do one attempt in a process of its own; returns when that and all it started are gone.

    stop : when set, the attempt is ended
    on_stage : called with a stage and the seconds since the start, from this thread
    on_memory : called with the bytes that it and all it started have resident, each time they are looked at
    """
    context = _context()
    lifeline, our_lifeline = context.Pipe(duplex=False)
    progress, their_progress = context.Pipe(duplex=False)
    address_space_bytes = order.limits.memory_bytes + MAPPED_BESIDES_BYTES
    arguments = (order.compute, order.scan, order.rules, order.out, order.last_pass, order.log, address_space_bytes)
    process: BaseProcess = context.Process(target=work, args=(*arguments, lifeline, their_progress))  # type: ignore[attr-defined]
    with contextlib.closing(our_lifeline), contextlib.closing(progress):
        process.start()
        lifeline.close()
        their_progress.close()
        return _Supervision(order, process, progress, on_stage, on_memory).until_over(stop)


def _context() -> BaseContext:
    """Never fork: a forked worker would keep the bench locked after the service died."""
    return multiprocessing.get_context(_STARTS)


class _Supervision:
    """One process, listened to and looked at until it is over."""

    def __init__(
        self,
        order: Order,
        process: BaseProcess,
        progress: Any,  # a Connection, of whichever class the system has
        on_stage: Callable[[str, float], None],
        on_memory: Callable[[int], None],
    ) -> None:
        self._order, self._process, self._progress = order, process, progress
        self._on_stage, self._on_memory = on_stage, on_memory
        self._started_s = time.monotonic()
        self._stages: list[tuple[str, float]] = []
        self._last_word = ""
        self._listening = True
        self._tree_bytes, self._tree_counted_s = 0, self._started_s
        self._peak_bytes = 0

    def until_over(self, stop: threading.Event) -> AttemptEnd:
        while self._process.exitcode is None:
            wait([self._process.sentinel, *([self._progress] if self._listening else [])], LOOK_EVERY_S)
            self._listen()
            overrun = AttemptEnd(End.STOPPED) if stop.is_set() else self._overrun()
            if overrun:
                kill_tree(self._process)
                self._process.join()
                return overrun
        self._process.join()
        kill_tree(self._process)
        self._listen()
        return self._natural_end()

    def _listen(self) -> None:
        try:
            while self._listening and self._progress.poll():
                word, stage = self._progress.recv()
                if word == "stage":
                    self._stages.append((str(stage), self._elapsed_s))
                    self._on_stage(*self._stages[-1])
                else:
                    self._last_word = word
        except (EOFError, OSError):
            self._listening = False  # closed by the end of the process, perhaps in the middle of a word

    def _overrun(self) -> AttemptEnd | None:
        limits = self._order.limits
        if self._elapsed_s > limits.deadline_s:
            return AttemptEnd(End.FAILED, f"It took longer than {limits.deadline_s:.0f} seconds.")
        if self._resident_bytes() > limits.memory_bytes:
            return AttemptEnd(End.FAILED, f"It needed more memory than {limits.memory_bytes / GIB:.1f} GiB.")
        return None

    def _resident_bytes(self) -> int:
        try:
            worker = psutil.Process(self._process.pid)
            if time.monotonic() - self._tree_counted_s > COUNT_TREE_EVERY_S:
                self._tree_bytes = sum(_resident_of(child) for child in worker.children(recursive=True))
                self._tree_counted_s = time.monotonic()
            resident_bytes = int(worker.memory_info().rss) + self._tree_bytes
        except psutil.Error:
            return 0  # over already
        self._peak_bytes = max(self._peak_bytes, resident_bytes)
        self._on_memory(resident_bytes)
        return resident_bytes

    def _natural_end(self) -> AttemptEnd:
        if self._last_word == "finished":
            return AttemptEnd(End.FINISHED, seconds=self._seconds(), peak_bytes=self._peak_bytes)
        if self._last_word == "disk full":
            return AttemptEnd(End.DISK_FULL, "The disk is full.")
        return AttemptEnd(End.FAILED, _how_it_ended(self._process.exitcode or 0, self._order.log))

    def _seconds(self) -> dict[str, float]:
        seconds: dict[str, float] = {}
        for (stage, start_s), (_, end_s) in pairwise([*self._stages, ("", self._elapsed_s)]):
            seconds[stage] = round(seconds.get(stage, 0.0) + end_s - start_s, 3)
        return seconds

    @property
    def _elapsed_s(self) -> float:
        return time.monotonic() - self._started_s


def _resident_of(process: psutil.Process) -> int:
    try:
        return int(process.memory_info().rss)
    except psutil.Error:
        return 0


def _how_it_ended(exit_code: int, log: Path) -> str:
    if exit_code < 0:
        return f"It was ended by {signal.Signals(-exit_code).name}."
    if exit_code == 0:
        return "It ended without a result."
    lines = log.read_text(encoding="utf-8", errors="replace").split("\n") if log.is_file() else []
    last = next((line for line in reversed(lines) if line.strip()), "no word")
    return f"It ended with exit status {exit_code}: {last.strip()[:300]}"


def kill_tree(process: BaseProcess) -> None:
    """End the worker, its process group and whatever else descends from it."""
    pid = process.pid
    if pid is None:
        return
    with contextlib.suppress(psutil.Error):
        for child in psutil.Process(pid).children(recursive=True):
            with contextlib.suppress(psutil.Error):
                child.kill()
    if process.exitcode is None:
        process.kill()
    if sys.platform != "win32":
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(pid, signal.SIGKILL)
