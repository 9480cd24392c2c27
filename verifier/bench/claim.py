"""Taking a file out of the inbox, so that it is always either there or recorded and in its job's folder."""

import os
import stat
from pathlib import Path

from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.durable import make_folder, sha256_of, sync_file, sync_folder
from verifier.bench.job import Job
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.names import scan_name
from verifier.bench.publish import remove_job_folder
from verifier.bench.settle import fingerprint_of
from verifier.rulebook import part_name
from verifier.rulebook.print_sheet import PRINT_ENDING, is_print


def _part_of(name: str) -> str:
    """The part a scan is of; the scan of a print is a thing of its own, and takes no part's place."""
    return part_name(name) + (PRINT_ENDING if is_print(name) else "")


def scan_in_job_folder(bench: Bench, job: Job) -> Path:
    """Where a job's scan lies while it is in hand."""
    return bench.job_folder(job.id) / "scan" / job.scan_name


def claim(bench: Bench, journal: Journal, name: str) -> Job | None:
    """Record a file of the inbox and move it into its job's folder; None when it was gone by then.

    Raises OSError when it cannot be moved; it then lies in the inbox as before.
    """
    safe_name = scan_name(name)
    job = journal.job(journal.begin_claim(_part_of(safe_name), os.fsencode(name), safe_name))
    crash_point(CrashPoint.CLAIM_RECORDED)
    scan = scan_in_job_folder(bench, job)
    try:
        make_folder(scan.parent)
        crash_point(CrashPoint.CLAIM_FOLDER_MADE)
        (bench.inbox / name).rename(scan)
    except OSError as error:
        _forget(bench, journal, job)
        if isinstance(error, FileNotFoundError):
            return None
        raise
    crash_point(CrashPoint.CLAIM_MOVED)
    return finish_claim(bench, journal, job)


def finish_claim(bench: Bench, journal: Journal, job: Job) -> Job | None:
    """From a recorded claim to a queued job; None when its file stayed in the inbox, where it will be found again."""
    scan = scan_in_job_folder(bench, job)
    if not scan.is_symlink() and scan.is_file():
        sync_file(scan)
        sync_folder(scan.parent)
        sync_folder(bench.inbox)
        crash_point(CrashPoint.CLAIM_SYNCED)
        queued = describe_scan(bench, journal, job)
        crash_point(CrashPoint.CLAIM_QUEUED)
        return queued
    if os.path.lexists(scan):  # swapped for a link or a pipe in the very moment of the move
        scan.rename(bench.inbox / os.fsdecode(job.original_name))
    _forget(bench, journal, job)
    return None


def describe_scan(bench: Bench, journal: Journal, job: Job) -> Job:
    """Record size, digest and fingerprint of the scan in the job's folder, and queue the job.

    The fingerprint is taken before the digest: a writer in between shows at the end of the attempt.
    """
    scan = scan_in_job_folder(bench, job)
    fingerprint = fingerprint_of(scan.lstat())
    journal.queue(job.id, size_bytes=fingerprint.size_bytes, sha256=sha256_of(scan), fingerprint=str(fingerprint))
    return journal.job(job.id)


def is_unchanged(bench: Bench, job: Job) -> bool:
    """Whether the scan is the file that was recorded. A program that kept it open may have written on."""
    status = scan_in_job_folder(bench, job).lstat()
    return stat.S_ISREG(status.st_mode) and str(fingerprint_of(status)) == job.fingerprint


def _forget(bench: Bench, journal: Journal, job: Job) -> None:
    remove_job_folder(bench, job.id)
    journal.take_back(job.id)
