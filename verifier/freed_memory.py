"""Memory that a job has freed is kept for its next step, and not given back to the system between the two."""

import ctypes
import sys

# Names of glibc's malloc.h: how much free memory at the top of the heap is given back, how many blocks are had from
# the system each by itself, and how many heaps there are for threads.
_M_TRIM_THRESHOLD, _M_MMAP_MAX, _M_ARENA_MAX = -1, -4, -8
_NEVER = 2**31 - 1


def keep_freed_memory() -> None:
    """Have this process use again what it freed, for a process that works on one part after another and then ends.

    An array of a million triangles is 24 MB. Had from the system anew each time, as is the rule from 32 MB on, every
    page of it is cleared first: a fifth of the CPU seconds of 2.6 million triangles. The peak grows by a fifth. Of
    glibc only; elsewhere nothing is changed.
    """
    if sys.platform != "linux":
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:  # another C library has its own rules
        mallopt(_M_MMAP_MAX, 0)
        mallopt(_M_TRIM_THRESHOLD, _NEVER)
        # With a heap each, what one thread freed is kept from all others: 2.0 GiB for 2.6 million triangles, not 1.4.
        mallopt(_M_ARENA_MAX, 1)
