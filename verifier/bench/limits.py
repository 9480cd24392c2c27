"""How long the service waits, and how much a job may use."""

from dataclasses import dataclass

import psutil

GIB = 2**30


@dataclass(frozen=True, slots=True)
class Limits:
    """The service's figures, all from trials on one machine unless said otherwise; no source outside.

    settle_s : a file unchanged for this long is taken
    slow_settle_s : the same for OBJ, whose end nothing in the file tells
    rescan_s : longest time between two looks at the inbox; events only shorten it
    overdue_s : a file waiting longer is mentioned
    rules_settle_s : rules unchanged for this long are acted on
    deadline_s : an attempt is stopped after this; a million triangles take well under a minute
    memory_bytes : resident memory all jobs at a time may use together, with all their processes; less, where other
        programs leave less free at the moment
    parallel_jobs : jobs at a time, if their memory allows
    tries : own crashes and overruns after which a job is set aside
    interruptions : attempts cut short by the end of the service itself, after which a job is set aside; far
        above `tries`, because a machine switched off in the middle is seldom the scan's fault
    least_free_bytes : no file is taken with less disk free than this, or than ten times what waits
    """

    memory_bytes: int
    parallel_jobs: int
    settle_s: float = 2.0
    slow_settle_s: float = 10.0
    rescan_s: float = 5.0
    overdue_s: float = 600.0
    rules_settle_s: float = 2.0
    deadline_s: float = 1200.0
    tries: int = 3
    interruptions: int = 20
    least_free_bytes: int = 2 * GIB


def limits_of_this_machine() -> Limits:
    """A job a core, with 1 GiB for each; a third of the memory stays free for everything else."""
    memory_bytes = total_memory_bytes() * 2 // 3
    return Limits(memory_bytes=memory_bytes, parallel_jobs=max(1, min(_cores(), memory_bytes // GIB)))


def total_memory_bytes() -> int:
    """What is built into this machine."""
    return int(psutil.virtual_memory().total)


def free_memory_bytes() -> int:
    """What new processes can have at the moment without the system having to swap, on each of the three systems."""
    return int(psutil.virtual_memory().available)


def _cores() -> int:
    """Those this process may use, where the system tells; else all."""
    here = psutil.Process()
    return len(here.cpu_affinity() or ()) if hasattr(here, "cpu_affinity") else psutil.cpu_count() or 1
