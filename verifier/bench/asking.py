"""Asking something of a bench from outside, whether a service watches it or not."""

import time
from contextlib import closing
from pathlib import Path

from verifier.bench.carrying_out import carry_out, why_not_retried
from verifier.bench.job import Job
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench, open_bench
from verifier.bench.ledger import Ledger
from verifier.bench.lock import hold_lock
from verifier.bench.recover import recover
from verifier.bench.requests import Forget, Request, Retry, leave_request
from verifier.bench.status import ledger_of_today
from verifier.errors import BenchBusy, UnknownName, WrongUsage

# The service looks for requests five times a second; this allows for one that is busy claiming a long file.
PATIENCE_S = 10.0
LOOK_EVERY_S = 0.05


def retry(bench: Path, name: str) -> tuple[str, bool]:
    """Ask that the newest finished scan of a part, or of a file name, be run once more.

    Returns the part, and whether the request is carried out (else it lies ready for the service).
    Raises UnknownName for a name that no finished job has, WrongUsage when its original is gone or it is in hand.
    """
    place = open_bench(bench)
    with closing(ledger_of_today(place)) as ledger:
        job = _newest_finished(ledger, name, place)
        why = why_not_retried(place, job, ledger.of_part(job.part))
    if why:
        raise WrongUsage(f"{why}, so it cannot be tried again", where=name, do="Drop the scan into the inbox")
    return job.part, ask_bench(place, Retry(job=job.id))


def forget(bench: Path, part: str) -> bool:
    """Ask that a part be forgotten: whether that is done (else it will be when its job has ended).

    Raises UnknownName for a part that no job has.
    """
    place = open_bench(bench)
    with closing(ledger_of_today(place)) as ledger:
        if not ledger.of_part(part):
            raise _unknown(part, place)
    return ask_bench(place, Forget(part=part))


def _newest_finished(ledger: Ledger, name: str, place: Bench) -> Job:
    jobs = ledger.named(name)
    if not jobs:
        raise _unknown(name, place)
    finished = [job for job in jobs if job.finish_number is not None]
    if not finished:
        raise WrongUsage("it is in hand for the first time", where=name, do="Wait for its result")
    return finished[-1]


def _unknown(name: str, place: Bench) -> UnknownName:
    return UnknownName(
        "no part and no scan of this name came through this bench",
        where=name,
        do=(f"See what did: verifier status {place.root}"),
    )


def ask_bench(bench: Bench, request: Request) -> bool:
    """Carry a request out, or have the service do it; whether it is done within a while."""
    if _do_it_here(bench, request):
        return True
    path = leave_request(bench, request)
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if not path.exists():
            return True
        time.sleep(LOOK_EVERY_S)
    return False


def _do_it_here(bench: Bench, request: Request) -> bool:
    """False when a service holds the bench, or a full disk is in the way."""
    try:
        with hold_lock(bench.lock), closing(Journal(bench.ledger)) as journal:
            recover(bench, journal)
            return carry_out(bench, journal, request) is not None
    except BenchBusy:
        return False
