"""Mends, measures and judges scans of moulded parts, and makes the mesh to print."""

import os
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from verifier.inspect import Outcome, inspect_part
    from verifier.reading import read_scan
    from verifier.rulebook import load_rules, load_sheet

__all__ = ["Outcome", "inspect_part", "load_rules", "load_sheet", "read_scan"]

# The matrices of a job are small: linear algebra on several threads takes twice the CPU seconds, half as long again by
# the clock, and takes them from the jobs beside it. Read when numpy is first loaded; what the shell says goes before.
for _threads in ("OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# Looked up when first asked for: numpy and scipy take over a second to load, and `verifier --help` needs neither.
_ROOM_OF = {
    "Outcome": "verifier.inspect",
    "inspect_part": "verifier.inspect",
    "load_rules": "verifier.rulebook",
    "load_sheet": "verifier.rulebook",
    "read_scan": "verifier.reading",
}


def __getattr__(name: str) -> object:
    if name not in _ROOM_OF:
        raise AttributeError(f"module 'verifier' has no attribute '{name}'")
    return getattr(import_module(_ROOM_OF[name]), name)
