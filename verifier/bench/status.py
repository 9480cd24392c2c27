"""How a bench stands, for whoever asks from outside the service."""

from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from verifier.bench.inbox import Kind, look_into
from verifier.bench.job import Job, State
from verifier.bench.journal import Journal
from verifier.bench.layout import open_bench
from verifier.bench.lock import is_held
from verifier.bench.names import shown

LATEST = 10


@dataclass(frozen=True, slots=True)
class BenchStatus:
    """What lies where.

    watched : whether a service runs
    inbox : names of the files that wait there
    in_hand : jobs between inbox and result
    held : jobs whose result waits for the person
    latest : the last ten to be finished, newest first
    """

    watched: bool
    inbox: tuple[str, ...]
    in_hand: tuple[Job, ...]
    held: tuple[Job, ...]
    latest: tuple[Job, ...]


def status(bench: Path) -> BenchStatus:
    """How the bench stands now. Raises WrongUsage for a folder that is no bench."""
    place = open_bench(bench)
    with closing(Journal(place.ledger)) as journal:
        return BenchStatus(
            watched=is_held(place.lock),
            inbox=tuple(shown(entry.name) for entry in look_into(place.inbox) if entry.kind is Kind.SCAN),
            in_hand=tuple(journal.in_state(State.CLAIMING, State.QUEUED, State.RUNNING, State.COMPUTED)),
            held=tuple(journal.held()),
            latest=tuple(journal.latest(LATEST)),
        )
