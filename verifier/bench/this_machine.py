"""This machine as the engine: as many jobs at a time as there are cores, and as their memory allows."""

import threading
from collections.abc import Callable, Collection
from dataclasses import replace

from verifier.bench.attempt import AttemptEnd, Order, prepare_workers, run_attempt
from verifier.bench.job import Job
from verifier.bench.limits import Limits
from verifier.bench.memory import LEEWAY, MemoryNeed
from verifier.bench.scan_files import fingerprint_at


class ThisMachine:
    """Worker processes beside the service."""

    def __init__(self, limits: Limits, compute: str) -> None:
        self._limits, self._need = limits, MemoryNeed()
        prepare_workers(compute)

    def has_room(self, running: Collection[Job], job: Job) -> bool:
        """A core and, by the sizes of the files, memory beside those that run; a job alone is always let in."""
        expected_bytes = sum(
            self._need.expected_bytes(each.scan_name, each.size_bytes or 0) for each in (*running, job)
        )
        fits = not running or expected_bytes <= self._limits.memory_bytes
        return fits and len(running) < self._limits.parallel_jobs

    def trouble(self) -> str | None:
        """None: it is here."""
        return None

    def run_attempt(self, order: Order, stop: threading.Event, on_stage: Callable[[str, float], None]) -> AttemptEnd:
        """Do one attempt in a process of its own, and learn how much memory it took."""
        name, size_bytes = order.scan.name, fingerprint_at(order.scan).size_bytes
        most_bytes = self._most_bytes(name, size_bytes)
        end = run_attempt(replace(order, limits=replace(order.limits, memory_bytes=most_bytes)), stop, on_stage)
        self._need.learn(name, size_bytes, end.peak_bytes)
        return end

    def close(self) -> None:
        """Nothing is held."""

    def _most_bytes(self, name: str, size_bytes: int) -> int:
        """A job's fair share, or, for a big file, well over what it is expected to take; never more than there is."""
        fair_bytes = self._limits.memory_bytes // self._limits.parallel_jobs
        expected_bytes = int(LEEWAY * self._need.expected_bytes(name, size_bytes))
        return min(self._limits.memory_bytes, max(fair_bytes, expected_bytes))
