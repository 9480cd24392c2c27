"""How long the service waits, and how much a job may use."""

import os
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
    memory_bytes : resident memory one job may use, all its processes together
    parallel_jobs : jobs at a time
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
    """Two jobs at a time where there are two cores and 4 GiB for each, else one; a third of the memory stays free."""
    total_bytes = psutil.virtual_memory().total
    parallel_jobs = 2 if (os.cpu_count() or 1) >= 2 and total_bytes >= 8 * GIB else 1
    return Limits(memory_bytes=total_bytes * 2 // 3 // parallel_jobs, parallel_jobs=parallel_jobs)
