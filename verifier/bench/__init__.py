"""The folder service: a scan dropped into the inbox comes out whole, once, and with its reason."""

from verifier.bench.asking import forget, retry
from verifier.bench.events import (
    Claimed,
    Event,
    Finished,
    Notice,
    Ready,
    SetAside,
    Stage,
    TriedAgain,
    Waiting,
)
from verifier.bench.job import Job, State
from verifier.bench.layout import Bench, new_bench, open_bench
from verifier.bench.limits import Limits, limits_of_this_machine
from verifier.bench.pulse import Pulse, Working
from verifier.bench.status import BenchStatus, status
from verifier.bench.watch import run_bench

__all__ = [
    "Bench",
    "BenchStatus",
    "Claimed",
    "Event",
    "Finished",
    "Job",
    "Limits",
    "Notice",
    "Pulse",
    "Ready",
    "SetAside",
    "Stage",
    "State",
    "TriedAgain",
    "Waiting",
    "Working",
    "forget",
    "limits_of_this_machine",
    "new_bench",
    "open_bench",
    "retry",
    "run_bench",
    "status",
]
