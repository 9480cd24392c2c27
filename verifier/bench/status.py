"""How a bench stands, for whoever asks from outside the service."""

import shutil
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from verifier.bench.history import History
from verifier.bench.inbox import Kind, look_into
from verifier.bench.job import Job, State
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench, open_bench
from verifier.bench.ledger import Ledger
from verifier.bench.lock import hold_lock, is_held
from verifier.bench.names import shown
from verifier.bench.pulse import Pulse, read_pulse
from verifier.bench.record_missing import record_missing
from verifier.bench.requests import requests_on
from verifier.bench.schema import VERSION, version_of

LATEST = 10


@dataclass(frozen=True, slots=True)
class BenchStatus:
    """What lies where.

    watched : whether a service runs; pulse : what that is at, None without one
    inbox : names of the files that wait there
    in_hand : jobs between inbox and result
    held : jobs whose result waits for the person
    set_aside : jobs given up, unanswered
    overtaken : passes in the slicer folder whose part has a newer scan that did not pass
    latest : the last ten to be finished, newest first
    requests : how many wait to be carried out
    free_bytes : room on the bench's disk
    """

    bench: Bench
    watched: bool
    pulse: Pulse | None
    inbox: tuple[str, ...]
    in_hand: tuple[Job, ...]
    held: tuple[Job, ...]
    set_aside: tuple[Job, ...]
    overtaken: tuple[Job, ...]
    latest: tuple[Job, ...]
    requests: int
    free_bytes: int


def status(bench: Path) -> BenchStatus:
    """How the bench stands now. Raises WrongUsage for a folder that is no bench."""
    place = open_bench(bench)
    watched = is_held(place.lock)
    with closing(ledger_of_today(place)) as ledger:
        return BenchStatus(
            bench=place,
            watched=watched,
            pulse=read_pulse(place.pulse) if watched else None,
            inbox=tuple(shown(entry.name) for entry in look_into(place.inbox) if entry.kind is Kind.SCAN),
            in_hand=tuple(ledger.in_state(State.CLAIMING, State.QUEUED, State.RUNNING, State.COMPUTED)),
            held=tuple(ledger.held()),
            set_aside=tuple(ledger.set_aside()),
            overtaken=tuple(ledger.overtaken()),
            latest=tuple(ledger.latest(LATEST)),
            requests=len(requests_on(place)),
            free_bytes=shutil.disk_usage(place.root).free,
        )


def ledger_of_today(bench: Bench) -> Ledger:
    """The ledger, to be read. One that was never made, or is of an older program, is first brought up to date.

    Raises BenchBusy when an older service is at it, WrongUsage for a file that is no ledger.
    """
    if not bench.ledger.exists() or version_of(bench.ledger) < VERSION:
        with hold_lock(bench.lock), closing(Journal(bench.ledger)) as journal:
            record_missing(bench, journal)
    return Ledger.open_to_read(bench.ledger)


def history_of(bench: Bench) -> History:
    """What the ledger remembers, to be read; raises as ledger_of_today does."""
    ledger_of_today(bench).close()
    return History.open_to_read(bench.ledger)
