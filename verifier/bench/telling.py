"""From a published job to the event that tells of it."""

import json
from collections.abc import Callable
from pathlib import Path

from verifier.bench.events import Finished, SetAside
from verifier.bench.job import Job
from verifier.bench.layout import Bench
from verifier.bench.publish import published_folder
from verifier.bench.result import REPORT_MARK, Manifest, is_mesh, manifest_of


def told_of(bench: Bench, job: Job) -> Callable[[], Finished | SetAside]:
    """What will be told once the job's files stand in their place; called after they do.

    The list of files is taken now, since it is cleared away with the job's folder.
    """
    manifest = manifest_of(bench, job)
    return lambda: _event_of(job, published_folder(bench, job), manifest)


def _event_of(job: Job, folder: Path, manifest: Manifest) -> Finished | SetAside:
    if job.verdict is None:
        return SetAside(job.id, job.part, job.reason or "", folder)
    reports = tuple(folder / name for name in manifest.in_publishing_order if REPORT_MARK in name)
    summary = next((report for report in reports if report.suffix == ".txt"), None)
    return Finished(
        job=job.id,
        part=job.part,
        verdict=job.verdict,
        folder=folder,
        mesh=next((folder / name for name in manifest.files if is_mesh(name)), None),
        reports=reports,
        reasons=tuple(json.loads(job.reasons or "[]")),
        next_steps=tuple(json.loads(job.next_steps or "[]")),
        summary=summary.read_text(encoding="utf-8") if summary else "",
    )
