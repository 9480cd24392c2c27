"""This machine as the engine: as many jobs at a time as there are cores, and as the memory free just now allows."""

import threading
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from verifier.bench.attempt import AttemptEnd, Order, prepare_workers, run_attempt
from verifier.bench.job import Job
from verifier.bench.limits import Limits, free_memory_bytes
from verifier.bench.memory import LEEWAY, MemoryNeed, Peak
from verifier.bench.scan_files import fingerprint_at
from verifier.bench.turns import SMALL_BYTES, Room, next_to_start

# Left to the person's other programs, a browser with the report page first of all. No source; common practice.
SPARE_BYTES = 512 * 2**20


class ThisMachine:
    """Worker processes beside the service."""

    def __init__(
        self,
        limits: Limits,
        compute: str,
        measured: Iterable[Peak] = (),
        free_bytes: Callable[[], int] = free_memory_bytes,
    ) -> None:
        """Ready for jobs.

        measured : what the last jobs took, oldest first
        free_bytes : tells how much memory is free on the machine at the moment
        """
        self._limits, self._need, self._free_bytes = limits, MemoryNeed(measured), free_bytes
        self._taken_bytes: dict[Path, int] = {}
        self._lock = threading.Lock()
        prepare_workers(compute)

    def choose(self, running: Collection[Job], waiting: Sequence[Job]) -> Job | None:
        """A core and, by the sizes of the files and what is free just now, memory beside those that run."""
        if not waiting:
            return None
        under_way = [self._expected_bytes(job) for job in running]
        room = Room(self._limits.parallel_jobs, self._room_bytes(under_way), besides=1)
        place = next_to_start([self._expected_bytes(job) for job in waiting], under_way, room)
        return None if place is None else waiting[place]

    def trouble(self) -> str | None:
        """None: it is here."""
        return None

    def run_attempt(self, order: Order, stop: threading.Event, on_stage: Callable[[str, float], None]) -> AttemptEnd:
        """Do one attempt in a process of its own, and learn how much memory it took."""
        name, size_bytes = order.scan.name, fingerprint_at(order.scan).size_bytes
        expected_bytes = self._need.expected_bytes(name, size_bytes)
        most_bytes = self._most_bytes(expected_bytes)

        def on_memory(resident_bytes: int) -> None:
            with self._lock:
                self._taken_bytes[order.out] = min(resident_bytes, expected_bytes)

        try:
            limited = replace(order, limits=replace(order.limits, memory_bytes=most_bytes))
            end = run_attempt(limited, stop, on_stage, on_memory)
        finally:
            with self._lock:
                self._taken_bytes.pop(order.out, None)
        self._need.learn(Peak(name, size_bytes, end.peak_bytes))
        return end

    def close(self) -> None:
        """Nothing is held."""

    def _expected_bytes(self, job: Job) -> int:
        return min(self._need.expected_bytes(job.scan_name, job.size_bytes or 0), self._beside_a_small_one_bytes)

    def _room_bytes(self, under_way: Sequence[int]) -> int:
        """What is neither taken nor still to be taken by the jobs under way: of their share, and of what is free."""
        with self._lock:
            taken_bytes = sum(self._taken_bytes.values())
        still_to_come_bytes = max(0, sum(under_way) - taken_bytes)
        free_now_bytes = self._free_bytes() - SPARE_BYTES - still_to_come_bytes
        return min(self._limits.memory_bytes - sum(under_way), free_now_bytes)

    def _most_bytes(self, expected_bytes: int) -> int:
        """A job's fair share, or, for a big file, well over what it is expected to take; never more than there is."""
        fair_bytes = self._limits.memory_bytes // self._limits.parallel_jobs
        wanted_bytes = min(self._beside_a_small_one_bytes, max(fair_bytes, int(LEEWAY * expected_bytes)))
        return min(self._limits.memory_bytes, wanted_bytes)

    @property
    def _beside_a_small_one_bytes(self) -> int:
        """All there is, less what a small job beside it takes."""
        return max(self._limits.memory_bytes - SMALL_BYTES, SMALL_BYTES)
