"""History for jobs that were finished before the ledger kept any: from the reports that still lie on the bench."""

from collections.abc import Iterator
from pathlib import Path

from verifier.bench.job import Job
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.publish import published_folder
from verifier.bench.record import record_in

REPLACED = "replaced-by-"


def record_missing(bench: Bench, journal: Journal) -> None:
    """Record every such job whose own report is found. Done twice, it finds nothing more to do."""
    for job in journal.unrecorded():
        found = (record_in(folder, job.part) for folder in _folders(bench, journal, job))
        record = next((each for each in found if each and each.scan["sha256"] == job.sha256), None)
        journal.record_late(job, record)


def _folders(bench: Bench, journal: Journal, job: Job) -> Iterator[Path]:
    """Where the job's report can lie: where it was published, or where the next result of the part moved it.

    The same scan may have been tried twice, so a folder is not looked into for a job that a later one wrote there.
    """
    later = [other.id for other in journal.of_part(job.part) if other.id > job.id and other.sha256 == job.sha256]
    for folder in sorted((bench.earlier / job.part).glob(f"{REPLACED}*")):
        number = folder.name.removeprefix(REPLACED)
        if number.isdigit() and job.id < int(number) and not any(other < int(number) for other in later):
            yield from (folder, folder / "held")
    if not later:
        yield published_folder(bench, job)
