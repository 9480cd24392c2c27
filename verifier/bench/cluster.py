"""A cluster as the engine: dask.distributed carries out attempts, and knows nothing that would be missed.

The journal owns all jobs and the bench's folders carry the data, on paths that are the same on every machine. What the
cluster loses is queued again: a scheduler that was killed costs the attempts under way and nothing else.
"""

import asyncio
import concurrent.futures
import contextlib
import hashlib
import logging
import sys
import threading
import time
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

from verifier.bench.attempt import AttemptEnd, End, Order
from verifier.bench.elsewhere import run_there
from verifier.bench.job import Job
from verifier.bench.limits import total_memory_bytes
from verifier.bench.memory import MemoryNeed
from verifier.bench.ticket import Ticket
from verifier.bench.turns import Room, next_to_start
from verifier.errors import WrongUsage

LOOK_EVERY_S = 0.05
# A scheduler that was killed leaves its client believing that all is well, so it is asked this often.
ASK_EVERY_S = 1.0
ANSWER_WITHIN_S = 5.0
# A cluster that could not run a job (a program of another version, a folder it does not see) is left alone for this.
PAUSE_S = 5.0
# On one machine a small job runs beside the big ones; a worker's thread has one job. With fewer places than these a
# small job waits for the first big one to end, and then goes first.
PLACES_A_KEPT_ONE = 4

# How a client answers that has lost its scheduler, or loses it while it is asked.
GONE = (OSError, RuntimeError, TimeoutError, asyncio.CancelledError, concurrent.futures.CancelledError)


class Cluster:
    """A scheduler's workers; connects when the scheduler is there, and anew when it was away."""

    def __init__(self, address: str) -> None:
        """Raises WrongUsage when dask.distributed is not installed or this is no address."""
        self._address = address
        self._distributed = refuse_no_address(address)
        self._client: Any = None
        self._scheduler_id = ""
        self._places = 0
        self._no_start_before_s = 0.0
        self._trouble: str | None = None
        self._over = threading.Event()
        self._contact = threading.Thread(target=self._keep_in_touch, name="cluster", daemon=True)
        self._contact.start()

    def choose(self, running: Collection[Job], waiting: Sequence[Job]) -> Job | None:
        """A job a thread of the cluster's workers, of every four one for small jobs; each minds its own memory."""
        places = self._places
        if not waiting or places == 0 or time.monotonic() < self._no_start_before_s:
            return None
        under_way, asked = [_expected_bytes(job) for job in running], [_expected_bytes(job) for job in waiting]
        place = next_to_start(asked, under_way, Room(places, free_bytes=sys.maxsize, kept=places // PLACES_A_KEPT_ONE))
        return None if place is None else waiting[place]

    def trouble(self) -> str | None:
        """That the scheduler does not answer, has no workers, or cannot run jobs."""
        return self._trouble

    def run_attempt(self, order: Order, stop: threading.Event, on_stage: Callable[[str, float], None]) -> AttemptEnd:
        """Have one attempt done by whichever worker is free; STOPPED when the cluster went away meanwhile."""
        client, ticket = self._client, Ticket(order.out.parent)
        if client is None:
            return AttemptEnd(End.STOPPED, "The cluster is away.")
        ticket.issue()
        try:
            # A key of the attempt, not of its arguments, and no second try by the engine: the journal decides that.
            future = client.submit(_on_a_worker, order, key=_key_of(order.out.parent), pure=False, retries=0)
            while future.status == "pending" and self._client is client and not stop.wait(LOOK_EVERY_S):
                _pass_on(ticket, on_stage)
            _pass_on(ticket, on_stage)
            return AttemptEnd(End.STOPPED) if stop.is_set() else self._end_of(future)
        except GONE as error:
            return self._back_off(f"The cluster at {self._address} failed: {error}")
        finally:
            ticket.withdraw()

    def close(self) -> None:
        """Let go of the scheduler."""
        self._over.set()
        self._contact.join()
        self._let_go()

    def _end_of(self, future: Any) -> AttemptEnd:
        if future.status == "finished":
            end: AttemptEnd = future.result(timeout=ANSWER_WITHIN_S)
            return self._back_off(end.sentence) if end.end is End.STOPPED else end
        if future.status == "error":
            error = future.exception(timeout=ANSWER_WITHIN_S)
            if isinstance(error, self._distributed.KilledWorker):
                return AttemptEnd(End.LOST, "A worker of the cluster went away during it.")
            return self._back_off(f"The cluster cannot run jobs: {type(error).__name__}: {error}")
        self._places = 0  # cancelled or lost: nothing starts until the scheduler has answered again
        return AttemptEnd(End.STOPPED, "The cluster went away.")

    def _back_off(self, sentence: str) -> AttemptEnd:
        self._trouble = f"{sentence} Jobs wait."
        self._no_start_before_s = time.monotonic() + PAUSE_S
        return AttemptEnd(End.STOPPED, sentence)

    def _keep_in_touch(self) -> None:
        while not self._over.is_set():
            try:
                self._ask()
            except GONE:
                self._let_go()
                self._trouble = (
                    f"The cluster's scheduler at {self._address} does not answer. Jobs wait. "
                    "Start it (dask scheduler), and this service goes on by itself."
                )
            self._over.wait(ASK_EVERY_S)

    def _ask(self) -> None:
        """Raises OSError, RuntimeError or TimeoutError when there is no answer, or one from another scheduler."""
        if self._client is None:
            client = self._distributed.Client(self._address, timeout=ANSWER_WITHIN_S, set_as_default=False)
            self._scheduler_id = _identity(client)["id"]
            self._client = client
        told = _identity(self._client)
        if told["id"] != self._scheduler_id:
            raise ConnectionError("another scheduler answers, which knows nothing of our jobs")
        self._places = sum(worker["nthreads"] for worker in told["workers"].values())
        if self._places == 0:
            self._trouble = f"The cluster at {self._address} has no workers. Jobs wait. Start one: dask worker."
        elif time.monotonic() >= self._no_start_before_s:
            self._trouble = None

    def _let_go(self) -> None:
        client, self._client, self._places = self._client, None, 0
        if client is not None:
            with contextlib.suppress(*GONE):
                client.close(timeout=ANSWER_WITHIN_S)


def refuse_no_address(address: str) -> Any:
    """The library, for an address that it can use; raises WrongUsage for another, or where it is not installed."""
    distributed = _distributed()
    try:
        host = distributed.comm.get_address_host(address)
    except ValueError:
        host = ""
    if not host:
        raise WrongUsage("this is no address of a scheduler", where=f"--cluster {address}", do="Write tcp://HOST:8786")
    return distributed


def _distributed() -> Any:
    """Imported only here: a bench on one machine needs none of it."""
    try:
        import distributed
    except ImportError as error:
        raise WrongUsage(
            "the library dask.distributed is not installed", where="--cluster", do="pip install 'verifier[cluster]'"
        ) from error
    # What it logs of lost connections would stand in the middle of the picture; the notices say it.
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    for chatty in ("distributed.client", "distributed.core", "distributed.comm.tcp"):
        logging.getLogger(chatty).setLevel(logging.CRITICAL)
    return distributed


def _identity(client: Any) -> dict[str, Any]:
    told: dict[str, Any] = client.sync(client.scheduler.identity, callback_timeout=ANSWER_WITHIN_S)
    return told


def _key_of(attempt: Path) -> str:
    """job7-a2- and a digest for .work/jobs/7/try-2: two benches may use one cluster."""
    digest = hashlib.sha256(str(attempt).encode(errors="surrogateescape")).hexdigest()
    return f"job{attempt.parent.name}-a{attempt.name.removeprefix('try-')}-{digest[:8]}"


def _expected_bytes(job: Job) -> int:
    return MemoryNeed().expected_bytes(job.scan_name, job.size_bytes or 0)


def _pass_on(ticket: Ticket, on_stage: Callable[[str, float], None]) -> None:
    for stage, seconds in ticket.reached():
        on_stage(stage, seconds)


def _on_a_worker(order: Order) -> AttemptEnd:
    """The task itself: each thread of a worker has its share of the memory that the worker was given."""
    from distributed import get_worker

    worker = get_worker()
    memory_bytes = worker.memory_manager.memory_limit or total_memory_bytes() * 2 // 3
    return run_there(order, int(memory_bytes) // worker.state.nthreads)
