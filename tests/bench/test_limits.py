"""How much a job may use on this machine."""

import psutil

from verifier.bench import limits_of_this_machine
from verifier.bench.limits import GIB


def test_all_jobs_together_leave_a_third_of_the_memory_alone():
    limits = limits_of_this_machine()
    assert limits.memory_bytes <= psutil.virtual_memory().total * 2 / 3


def test_there_is_a_job_a_core_with_a_gibibyte_for_each():
    limits = limits_of_this_machine()
    assert 1 <= limits.parallel_jobs <= (psutil.cpu_count() or 1)
    assert limits.parallel_jobs == 1 or limits.memory_bytes / limits.parallel_jobs >= GIB
