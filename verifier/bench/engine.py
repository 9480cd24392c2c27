"""Where attempts are run: on this machine, or on a cluster."""

import threading
from collections.abc import Callable, Collection
from typing import Protocol

from verifier.bench.attempt import AttemptEnd, Order
from verifier.bench.job import Job


class Engine(Protocol):
    """What the crew needs of it; it keeps no jobs, the journal does."""

    def has_room(self, running: Collection[Job], job: Job) -> bool:
        """Whether a job may start beside those that run."""
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
