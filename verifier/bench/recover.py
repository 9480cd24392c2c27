"""What is done first after a start: each job left in the middle goes on in the one way its state allows."""

import contextlib
import shutil

from verifier.bench.claim import finish_claim
from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.job import State
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.prints_file import write_prints
from verifier.bench.publish import remove_job_folder
from verifier.bench.record_missing import record_missing

INTERRUPTED = "The service ended while this job ran."


def recover(bench: Bench, journal: Journal, *, interrupted: bool = True) -> None:
    """Settle claims, drop half attempts, clear away what finished jobs left; the loop publishes computed ones.

    interrupted : whether the half attempts ended with the service, which counts against a job that does it often
    """
    for job in journal.in_state(State.CLAIMING):
        finish_claim(bench, journal, job)
        crash_point(CrashPoint.RECOVERY_CLAIM_SETTLED)
    for job in journal.in_state(State.RUNNING):
        shutil.rmtree(bench.attempt_folder(job.id, job.attempt), ignore_errors=True)
        journal.queue_again(job, INTERRUPTED, interrupted=interrupted)
        crash_point(CrashPoint.RECOVERY_ATTEMPT_DROPPED)
    _clear_leftovers(bench, journal)
    record_missing(bench, journal)
    write_prints(bench, journal.history)


def _clear_leftovers(bench: Bench, journal: Journal) -> None:
    unfinished = {str(job.id) for job in journal.in_state(State.QUEUED, State.COMPUTED)}
    for folder in bench.jobs.iterdir():
        with contextlib.suppress(ValueError):  # a name that is no job's is somebody else's and stays
            if folder.name not in unfinished:
                remove_job_folder(bench, int(folder.name))
