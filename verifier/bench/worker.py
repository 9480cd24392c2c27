"""The inside of a worker process: one attempt at one job, then the process ends.

Everything here runs apart from the service: what crashes, hangs or eats memory is stopped from outside.
"""

import faulthandler
import importlib
import os
import signal
import sys
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection
from pathlib import Path

from verifier.bench.durable import DISK_FULL
from verifier.freed_memory import keep_freed_memory

Compute = Callable[..., int]


def work(
    compute: str,
    scan: Path,
    rules: Path,
    out: Path,
    last_pass: Path | None,
    log: Path,
    address_space_bytes: int,
    lifeline: Connection,
    progress: Connection,
) -> None:
    """Run `compute` ('module:function') on a scan; it writes only into `out`.

    last_pass : the scan that the part last passed with
    lifeline : nothing is ever sent through it; it breaks when the service dies, and this process dies with it
    progress : ('stage', name), ('disk full', '') and, when all went well, ('finished', '') are sent through it
    """
    _die_with(lifeline)
    _write_output_to(log)
    _limit_address_space(address_space_bytes)
    keep_freed_memory()
    function = named_function(compute)
    try:
        function(scan, rules, out, lambda stage: progress.send(("stage", stage)), last_pass)
    except OSError as error:
        if error.errno in DISK_FULL:
            progress.send(("disk full", ""))
        raise
    progress.send(("finished", ""))


def named_function(compute: str) -> Compute:
    """The function named 'module:function'."""
    module, _, name = compute.partition(":")
    function: Compute = getattr(importlib.import_module(module), name)
    return function


def _die_with(lifeline: Connection) -> None:
    """Never outlive the service, on Linux not even by a moment inside native code."""
    # Ctrl-C is for the service, which ends its workers itself; without setsid it reaches them as well, and would count
    # as a failure of the scan.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "setsid"):
        os.setsid()  # a group of its own: stopped as a whole, and not by Ctrl-C at the service's terminal
    _have_kernel_kill_us_with(lifeline)
    if lifeline.poll():  # it died before this process could ask to be told
        os._exit(1)
    threading.Thread(target=_wait_for_end_of, args=(lifeline,), daemon=True).start()


def _have_kernel_kill_us_with(lifeline: Connection) -> None:
    """Ask Linux for SIGKILL in place of the signal that announces news on a pipe; its only news is its end.

    A thread alone would wait for native code that holds the interpreter's lock.
    """
    if sys.platform != "linux":
        return
    import fcntl

    descriptor = lifeline.fileno()
    fcntl.fcntl(descriptor, fcntl.F_SETOWN, os.getpid())
    fcntl.fcntl(descriptor, fcntl.F_SETSIG, signal.SIGKILL)
    fcntl.fcntl(descriptor, fcntl.F_SETFL, fcntl.fcntl(descriptor, fcntl.F_GETFL) | os.O_ASYNC)


def _wait_for_end_of(lifeline: Connection) -> None:
    try:
        lifeline.recv()
    except (EOFError, OSError):
        os.kill(os.getpid(), getattr(signal, "SIGKILL", signal.SIGTERM))


def _write_output_to(log: Path) -> None:
    """Whatever is printed, by Python or by native code, and the last traceback go to the attempt's log."""
    descriptor = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o644)
    os.dup2(descriptor, 1)
    os.dup2(descriptor, 2)
    os.close(descriptor)
    faulthandler.enable(2)


def _limit_address_space(address_space_bytes: int) -> None:
    """A backstop for what grows faster than it is looked at; only Linux keeps to it."""
    if sys.platform == "linux":
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (address_space_bytes, address_space_bytes))
