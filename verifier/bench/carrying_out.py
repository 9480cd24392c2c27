"""Carrying out what a person asks of a bench. Every step may be taken again after a crash."""

import contextlib
from pathlib import Path

from verifier.bench.durable import free_name, move_away
from verifier.bench.events import Event, Notice, TriedAgain
from verifier.bench.job import Job, State
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.prints_file import write_prints
from verifier.bench.publish import publish
from verifier.bench.requests import EnterPrint, Forget, Request, Retry, UndoPrint, read_request, requests_on
from verifier.bench.result import seal_reason
from verifier.bench.scan_files import is_whole_scan

FINISHED = (State.DONE, State.SET_ASIDE)
FORGOTTEN = "It was not tried to the end, because the part was to be forgotten."


def carry_out_all(bench: Bench, journal: Journal) -> list[Event]:
    """Carry out every request that can be carried out now; the others keep lying."""
    return [event for path in requests_on(bench) if (event := _carry_out_file(bench, journal, path))]


def carry_out(bench: Bench, journal: Journal, request: Request) -> Event | None:
    """Carry out one request; None when a job under way must end first.

    Raises OSError when a file cannot be moved; the request then stands as before.
    """
    match request:
        case Retry():
            return _retry(bench, journal, request.job)
        case Forget():
            return _forget(bench, journal, request.part)
        case EnterPrint():
            number = journal.enter_print(request.entry)
            write_prints(bench, journal.history)
            return Notice(f"Print {number} of {request.entry.part} is entered, {len(request.entry.rows)} sizes.")
        case UndoPrint():
            journal.undo_print(request.number)
            write_prints(bench, journal.history)
            return Notice(f"Print {request.number} is taken out of every figure.")


def _carry_out_file(bench: Bench, journal: Journal, path: Path) -> Event | None:
    request = read_request(path)
    try:
        event = carry_out(bench, journal, request) if request else Notice(f"{path.name} was no request and is removed.")
    except OSError:
        return None  # a full disk, or a file held open elsewhere: at the next look
    if event:
        with contextlib.suppress(FileNotFoundError):
            path.unlink()
    return event


def _retry(bench: Bench, journal: Journal, number: int) -> Event:
    found = journal.find(number)
    if found is None:
        return Notice(f"There is no job {number} to be tried again.")
    if why := why_not_retried(bench, found, journal.of_part(found.part)):
        return Notice(f"{found.part} is not tried again: {why}.")
    again = journal.queue_once_more(found)
    return TriedAgain(again.id, again.part, "it was asked for")


def why_not_retried(bench: Bench, job: Job, of_part: list[Job]) -> str | None:
    """What stands against trying a job again; None when nothing does."""
    if any(other.state not in FINISHED and other.sha256 == job.sha256 for other in of_part):
        return "it is in hand"
    if job.original is None or not is_whole_scan(bench.originals / job.original):
        return "its original was deleted"
    return None


def _forget(bench: Bench, journal: Journal, part: str) -> Event | None:
    jobs = journal.of_part(part)
    if any(job.state in (State.CLAIMING, State.RUNNING) for job in jobs):
        return None
    for job in jobs:
        _end(bench, journal, job)
    held = bench.held / part
    if jobs and held.exists():
        move_away(held, free_name(bench.earlier / part / "forgotten"))
    journal.forget_part(part)
    return Notice(f"{part} is forgotten. Its originals stay in {bench.originals / part}.")


def _end(bench: Bench, journal: Journal, job: Job) -> None:
    """What waits for its turn is not run: a job without a verdict is set aside, another keeps the one it has."""
    if job.state is State.QUEUED and job.verdict is not None:
        journal.leave_held(job.id, job.seen)
    elif job.state is State.QUEUED:
        seal_reason(bench, job, FORGOTTEN)
        publish(bench, journal, journal.given_up(job.id, FORGOTTEN))
    elif job.state is State.COMPUTED:
        publish(bench, journal, job)
