"""From the files a worker wrote to a result that may be published: checked, hashed, synced."""

import json
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.durable import lay_file, make_folder, sha256_of, sync_file, sync_folder
from verifier.bench.job import Job, Outcome
from verifier.bench.layout import Bench
from verifier.rulebook.print_sheet import is_print

OUTCOME = "outcome.json"
MANIFEST = "manifest.json"
WORKER_LOG = "worker.log"
REPORT_MARK = ".report."
MESH_ENDINGS = (".3mf", ".stl")


class UselessResult(Exception):
    """A worker ended as if all were well and left something that cannot be published: our mistake, not the scan's."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """SHA-256 of each file of a result."""

    files: dict[str, str]

    @property
    def meshes(self) -> list[str]:
        """Names of the meshes."""
        return [name for name in self.files if is_mesh(name)]

    @property
    def in_publishing_order(self) -> list[str]:
        """Reports first, meshes last: a mesh that can be seen has its report."""
        return sorted(self.files, key=lambda name: (is_mesh(name), name))


def is_mesh(name: str) -> bool:
    """Whether a slicer would take this file."""
    return name.endswith(MESH_ENDINGS)


def result_folder(bench: Bench, job: Job) -> Path:
    """Where the job's last attempt leaves what is to be published."""
    return bench.attempt_folder(job.id, job.attempt) / "out"


def seal(bench: Bench, job: Job) -> Outcome:
    """Check and sync what an attempt left; outcome.json moves out of the result.

    Raises UselessResult; OSError when the disk is full.
    """
    folder = result_folder(bench, job)
    outcome = _outcome_in(folder)
    (folder / OUTCOME).replace(folder.parent / OUTCOME)
    manifest = _synced(folder)
    if outcome.verdict == "PASS" and not manifest.meshes and not is_print(job.part):
        raise UselessResult("The part passed, and there is no mesh.")
    return outcome


def seal_reason(bench: Bench, job: Job, reason: str) -> None:
    """Make a result of the reason a job is given up for, and of the last attempt's log."""
    attempt = bench.attempt_folder(job.id, job.attempt)
    log = (attempt / WORKER_LOG).read_bytes() if (attempt / WORKER_LOG).is_file() else b""
    folder = attempt / "out"
    make_folder(folder)
    for left in folder.iterdir():  # half results of a crash are not published
        if left.is_file():
            left.unlink()
    (folder / f"{job.part}.set_aside.txt").write_bytes(f"{reason}\n".encode())
    (folder / f"{job.part}.traceback.txt").write_bytes(log or b"The worker left no word.\n")
    _synced(folder)


def manifest_of(bench: Bench, job: Job) -> Manifest:
    """The manifest of a computed job."""
    attempt = bench.attempt_folder(job.id, job.attempt)
    return Manifest(json.loads((attempt / MANIFEST).read_text(encoding="utf-8")))


def _outcome_in(folder: Path) -> Outcome:
    try:
        return Outcome.model_validate_json((folder / OUTCOME).read_bytes())
    except FileNotFoundError as error:
        raise UselessResult("The worker left no outcome.") from error
    except ValidationError as error:
        raise UselessResult(f"The worker's outcome cannot be used: {error}") from error


def _synced(folder: Path) -> Manifest:
    names = sorted(file.name for file in folder.iterdir())
    if odd := [name for name in names if not (folder / name).is_file() or name.startswith(".")]:
        raise UselessResult(f"The worker left '{odd[0]}', which is not a finished file.")
    for name in names:
        sync_file(folder / name)
    manifest = Manifest({name: sha256_of(folder / name) for name in names})
    lay_file(folder.parent / MANIFEST, json.dumps(manifest.files, indent=2).encode())
    # The attempt's folders were made without a sync: until now they are worth nothing.
    sync_folder(folder)
    sync_folder(folder.parent)
    sync_folder(folder.parent.parent)
    crash_point(CrashPoint.RESULT_SYNCED)
    return manifest
