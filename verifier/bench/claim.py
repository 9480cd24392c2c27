"""Taking a file out of the inbox, so that it is always either there or recorded and in its job's folder."""

import os
from contextlib import suppress
from pathlib import Path

from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.durable import free_name, make_folder, sync_folder
from verifier.bench.job import Job
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.names import scan_name
from verifier.bench.publish import remove_job_folder
from verifier.bench.scan_files import digest_of, fingerprint_at, is_whole_scan, sync_scan
from verifier.rulebook import part_name
from verifier.rulebook.print_sheet import PRINT_ENDING, is_print


def _part_of(name: str) -> str:
    """The part a scan is of; the scan of a print is a thing of its own, and takes no part's place."""
    return part_name(name) + (PRINT_ENDING if is_print(name) else "")


def scan_in_job_folder(bench: Bench, job: Job) -> Path:
    """Where a job's scan lies while it is in hand."""
    return bench.job_folder(job.id) / "scan" / job.scan_name


def claim(bench: Bench, journal: Journal, name: str) -> Job | None:
    """Record a scan of the inbox and move it into its job's folder; None when it, or any of it, was gone by then.

    name : of a file or a folder; of several files, all names with / between, and they lie in one folder from now on
    Raises OSError when it cannot be moved; it then lies in the inbox as before.
    """
    first, several = scan_name(name.split("/")[0]), "/" in name
    safe_name = part_name(first) if several else first
    job = journal.job(journal.begin_claim(_part_of(safe_name), os.fsencode(name), safe_name))
    crash_point(CrashPoint.CLAIM_RECORDED)
    scan = scan_in_job_folder(bench, job)
    try:
        make_folder(scan if several else scan.parent)
        crash_point(CrashPoint.CLAIM_FOLDER_MADE)
        for source, target in _moves(bench, job):
            source.rename(target)
            crash_point(CrashPoint.CLAIM_FILE_MOVED)
    except OSError as error:
        _give_back(bench, job)
        _forget(bench, journal, job)
        if isinstance(error, FileNotFoundError):
            return None
        raise
    crash_point(CrashPoint.CLAIM_MOVED)
    return finish_claim(bench, journal, job)


def finish_claim(bench: Bench, journal: Journal, job: Job) -> Job | None:
    """From a recorded claim to a queued job; None when its file stayed in the inbox, where it will be found again."""
    scan = scan_in_job_folder(bench, job)
    _move_the_rest(bench, job)
    if is_whole_scan(scan) and all(target.exists() for _, target in _moves(bench, job)):
        sync_scan(scan)
        sync_folder(scan.parent)
        sync_folder(bench.inbox)
        crash_point(CrashPoint.CLAIM_SYNCED)
        queued = describe_scan(bench, journal, job)
        crash_point(CrashPoint.CLAIM_QUEUED)
        return queued
    _give_back(bench, job)  # swapped for a link or a pipe in the very moment of the move, or a part of it gone
    _forget(bench, journal, job)
    return None


def describe_scan(bench: Bench, journal: Journal, job: Job) -> Job:
    """Record size, digest and fingerprint of the scan in the job's folder, and queue the job.

    The fingerprint is taken before the digest: a writer in between shows at the end of the attempt.
    """
    scan = scan_in_job_folder(bench, job)
    fingerprint = fingerprint_at(scan)
    journal.queue(job.id, size_bytes=fingerprint.size_bytes, sha256=digest_of(scan), fingerprint=str(fingerprint))
    return journal.job(job.id)


def is_unchanged(bench: Bench, job: Job) -> bool:
    """Whether the scan is the file that was recorded. A program that kept it open may have written on."""
    scan = scan_in_job_folder(bench, job)
    return is_whole_scan(scan) and str(fingerprint_at(scan)) == job.fingerprint


def _moves(bench: Bench, job: Job) -> list[tuple[Path, Path]]:
    """From where to where each file of a claim goes; a folder goes whole."""
    scan, names = scan_in_job_folder(bench, job), os.fsdecode(job.original_name).split("/")
    return [(bench.inbox / name, scan / name if len(names) > 1 else scan) for name in names]


def _move_the_rest(bench: Bench, job: Job) -> None:
    """After a crash among several files: those that went first lie here already, and the others follow."""
    moves = _moves(bench, job)
    if any(os.path.lexists(target) for _, target in moves):
        for source, target in moves:
            if not os.path.lexists(target):
                with suppress(FileNotFoundError):
                    source.rename(target)


def _give_back(bench: Bench, job: Job) -> None:
    """Back into the inbox, never over what has come there since."""
    for source, target in _moves(bench, job):
        if os.path.lexists(target):
            target.rename(free_name(source))


def _forget(bench: Bench, journal: Journal, job: Job) -> None:
    remove_job_folder(bench, job.id)
    journal.take_back(job.id)
