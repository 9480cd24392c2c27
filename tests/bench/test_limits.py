"""How much a job may use on this machine."""

import psutil

from verifier.bench import limits_of_this_machine


def test_all_jobs_together_leave_a_third_of_the_memory_alone():
    limits = limits_of_this_machine()
    assert 1 <= limits.parallel_jobs <= 2
    assert limits.memory_bytes * limits.parallel_jobs <= psutil.virtual_memory().total * 2 / 3
