"""Where attempts are run: on this machine, or on a cluster."""

import threading
from collections.abc import Callable, Collection, Sequence
from typing import Protocol

from verifier.bench.attempt import AttemptEnd, Order
from verifier.bench.job import Job


class Engine(Protocol):
    """What the crew needs of it; it keeps no jobs, the journal does."""

    def choose(self, running: Collection[Job], waiting: Sequence[Job]) -> Job | None:
        """Which of the waiting jobs, in the order of their turns, may start beside those that run; None for none."""
        ...

    def trouble(self) -> str | None:
        """What keeps jobs waiting, in a sentence for the person; None when all is well."""
        ...

    def run_attempt(self, order: Order, stop: threading.Event, on_stage: Callable[[str, float], None]) -> AttemptEnd:
        """Do one attempt; returns when it is over. Called from the attempt's own thread."""
        ...

    def close(self) -> None:
        """No attempt runs any more."""
        ...
