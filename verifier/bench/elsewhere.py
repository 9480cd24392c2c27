"""One attempt on a worker of a cluster: the same worker process with the same limits, started over there."""

import functools
import multiprocessing
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from verifier.bench.attempt import AttemptEnd, End, Order, prepare_workers, run_attempt
from verifier.bench.ticket import Ticket

LOOK_EVERY_S = 0.1


def run_there(order: Order, memory_bytes: int) -> AttemptEnd:
    """Do an attempt here, unless somebody has it already; stops when it is wanted no more.

    memory_bytes : what one job may use on this machine
    """
    if trouble := _why_not_here(order):
        return AttemptEnd(End.STOPPED, trouble)
    ticket = Ticket(order.out.parent)
    if not ticket.take():
        return AttemptEnd(End.LOST, "A worker of the cluster went away during it.")
    _prepare_once(order.compute)
    here = replace(order, limits=replace(order.limits, memory_bytes=memory_bytes))
    with _stop_when_withdrawn(ticket) as stop:
        return run_attempt(here, stop, ticket.reach)


def _why_not_here(order: Order) -> str:
    here = socket.gethostname()
    if multiprocessing.current_process().daemon:
        return (
            f"The worker on {here} may start no process of its own. "
            "Start it with DASK_DISTRIBUTED__WORKER__DAEMON=False in its environment."
        )
    if not (order.out.is_dir() and order.scan.exists()):
        return f"The worker on {here} does not see {order.out}. Share the bench with it under the same path."
    return ""


@functools.cache
def _prepare_once(compute: str) -> None:
    prepare_workers(compute)


@contextmanager
def _stop_when_withdrawn(ticket: Ticket) -> Iterator[threading.Event]:
    stop, over = threading.Event(), threading.Event()

    def look() -> None:
        while not over.wait(LOOK_EVERY_S):
            if not ticket.holds:
                stop.set()
                return

    looker = threading.Thread(target=look, daemon=True)
    looker.start()
    try:
        yield stop
    finally:
        over.set()
        looker.join()
