"""The attempts under way, each watched by a thread that passes on what happens."""

import threading
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from verifier.bench.attempt import AttemptEnd, End, Order
from verifier.bench.engine import Engine
from verifier.bench.job import Job


@dataclass(frozen=True, slots=True)
class StageReached:
    """A worker has come to a stage."""

    job: Job
    stage: str
    seconds: float


@dataclass(frozen=True, slots=True)
class AttemptOver:
    """A worker and all it started are gone."""

    job: Job
    end: AttemptEnd


News = StageReached | AttemptOver


class Crew:
    """Starts attempts and knows which are under way; news is passed to `tell` from other threads."""

    def __init__(self, engine: Engine, tell: Callable[[News], None]) -> None:
        self._engine, self._tell = engine, tell
        self._stop = threading.Event()
        self._threads: dict[int, threading.Thread] = {}
        self._jobs: dict[int, Job] = {}

    @property
    def jobs(self) -> Collection[Job]:
        """Those whose attempts are under way."""
        return self._jobs.values()

    def choose(self, waiting: Sequence[Job]) -> Job | None:
        """Which of these, in the order of their turns, the engine can take beside those under way."""
        return self._engine.choose(self.jobs, waiting)

    def trouble(self) -> str | None:
        """What keeps every job waiting, in a sentence; None when all is well."""
        return self._engine.trouble()

    def start(self, job: Job, order: Order) -> None:
        """Start an attempt; an AttemptOver will tell of its end, whatever that is."""
        thread = threading.Thread(target=self._attend, args=(job, order), name=f"job {job.id}")
        self._threads[job.id], self._jobs[job.id] = thread, job
        thread.start()

    def dismiss(self, job: Job) -> None:
        """The end of this job's attempt has been dealt with."""
        self._threads.pop(job.id).join()
        del self._jobs[job.id]

    def stop(self) -> None:
        """End every attempt and wait until all are gone."""
        self._stop.set()
        for thread in self._threads.values():
            thread.join()
        self._engine.close()

    def _attend(self, job: Job, order: Order) -> None:
        end = AttemptEnd(End.FAILED, "The service lost sight of its worker.")
        try:
            end = self._engine.run_attempt(
                order, self._stop, lambda stage, seconds: self._tell(StageReached(job, stage, seconds))
            )
        except (OSError, EOFError) as error:
            end = AttemptEnd(End.FAILED, f"No worker could be started: {error}")
        finally:  # whatever goes wrong in this thread, no job waits for ever for its end
            self._tell(AttemptOver(job, end))
