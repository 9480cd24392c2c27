"""Memory that is freed is used again."""

import subprocess
import sys

import pytest

# Pages had from the system for one array after another, the first being freed before the second is made.
_PAGES_OF_THE_SECOND = """
import resource
import numpy as np
from verifier.freed_memory import keep_freed_memory
keep_freed_memory()
np.ones(8_000_000)
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
np.ones(8_000_000)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only glibc is told to keep what was freed")
def test_an_array_made_after_one_was_freed_has_no_new_pages_from_the_system():
    told = subprocess.run([sys.executable, "-c", _PAGES_OF_THE_SECOND], capture_output=True, text=True, check=True)
    assert int(told.stdout) < 20  # 64 MB are 16,000 pages, or 32 large ones
