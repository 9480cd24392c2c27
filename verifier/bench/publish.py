"""Bringing a computed result to its place. Every step may be taken again after a crash and then changes nothing.

A passed part goes to the slicer folder, anything else to held/PART. What stood there before is never written over: it
moves to held/.earlier/PART/replaced-by-JOB. An earlier pass leaves the slicer folder only for a newer one, which takes
its names: its report among them, so pieces of another cut would lie there beside a report that is not theirs. A newer
scan that did not pass moves nothing; the ledger marks the pass as superseded.
"""

import contextlib
import re
import shutil
from pathlib import Path

from verifier.bench.crashpoint import CrashPoint, crash_point
from verifier.bench.durable import copy_file, free_name, make_folder, move_away, place_file, sha256_of, sync_folder
from verifier.bench.job import Job
from verifier.bench.journal import Journal
from verifier.bench.layout import Bench
from verifier.bench.prints_file import write_prints
from verifier.bench.record import REPORT_ENDING, record_in
from verifier.bench.result import Manifest, manifest_of, result_folder
from verifier.bench.scan_files import digest_of, is_whole_scan
from verifier.bench.scanned_print import scanned_print
from verifier.rulebook import find_sheet
from verifier.rulebook.print_sheet import is_print

# A sheet drafted for a part that has none.
DRAFT_ENDING = ".sheet.toml"


def publish(bench: Bench, journal: Journal, job: Job) -> Job:
    """Place result and original, record the job as done, and clear its folder away.

    Raises OSError when a disk is full or a file is held open elsewhere; the job stays computed, to be published later.
    """
    if _goes_to_slicer(job):
        _place_in_slicer(bench, job, manifest_of(bench, job))
        _keep_earlier_held(bench, job)
    else:
        _place_in_held(bench, job)
        _offer_sheet(bench, journal, job)
    _file_original(bench, journal, job)
    crash_point(CrashPoint.ORIGINAL_FILED)
    done = _record_done(bench, journal, job)
    crash_point(CrashPoint.DONE_RECORDED)
    remove_job_folder(bench, job.id)
    crash_point(CrashPoint.JOB_FOLDER_REMOVED)
    return done


def _record_done(bench: Bench, journal: Journal, job: Job) -> Job:
    """Record the job as done and what its report says; a report that is none of its own may lie there from before."""
    if f"{job.part}{REPORT_ENDING}" not in manifest_of(bench, job).files:
        return journal.done(job)
    folder = published_folder(bench, job)
    if is_print(job.part):
        done = journal.done(job, scanned=scanned_print(folder, job, journal.history))
        with contextlib.suppress(OSError):  # a full disk; the job is done, and the next start writes it
            write_prints(bench, journal.history)
        return done
    return journal.done(job, record_in(folder, job.part))


def _goes_to_slicer(job: Job) -> bool:
    """A passed part; of a passed print there is nothing to slice, and its report lies with what is held."""
    return job.verdict == "PASS" and not is_print(job.part)


def remove_job_folder(bench: Bench, job: int) -> None:
    """Clear away a job's folder, whose every file stands elsewhere by now."""
    shutil.rmtree(bench.job_folder(job), ignore_errors=True)  # what cannot go now goes at the next start


def published_folder(bench: Bench, job: Job) -> Path:
    """Where the result of a finished job lies."""
    return bench.slicer if _goes_to_slicer(job) else bench.held / job.part


def _place_in_slicer(bench: Bench, job: Job, manifest: Manifest) -> None:
    """Earlier mesh away, earlier reports away, new reports in, new mesh in.

    In this order a mesh that can be seen always lies beside its own report. The price is a moment without a mesh.
    """
    outdated = _outdated_meshes(bench, job, manifest)
    if not outdated and all(_stands_in(bench.slicer, name, manifest) for name in manifest.files):
        return
    for name in (*outdated, *manifest.meshes):
        # The mesh comes last, so while not all is placed any mesh there is an earlier one, even of equal bytes.
        _keep_earlier(bench, job, bench.slicer / name)
        crash_point(CrashPoint.EARLIER_MESH_KEPT)
    for name in manifest.files:
        if not _stands_in(bench.slicer, name, manifest):
            _keep_earlier(bench, job, bench.slicer / name)
    crash_point(CrashPoint.EARLIER_KEPT)
    for name in manifest.in_publishing_order:
        if not _stands_in(bench.slicer, name, manifest):
            place_file(result_folder(bench, job) / name, bench.slicer / name)
        crash_point(CrashPoint.MESH_PLACED if name in manifest.meshes else CrashPoint.REPORT_PLACED)


def _outdated_meshes(bench: Bench, job: Job, manifest: Manifest) -> list[str]:
    """Earlier meshes of the part that this result has none of: the whole of one now cut, or pieces of another cut."""
    own = re.compile(rf"{re.escape(job.part)}(\.piece_\d+_of_\d+)?(\.3mf|\.stl)")
    here = (path.name for path in bench.slicer.iterdir() if path.is_file())
    return sorted(name for name in here if own.fullmatch(name) and name not in manifest.files)


def _stands_in(folder: Path, name: str, manifest: Manifest) -> bool:
    return (folder / name).is_file() and sha256_of(folder / name) == manifest.files[name]


def _keep_earlier(bench: Bench, job: Job, path: Path) -> None:
    if path.exists():
        move_away(path, free_name(bench.earlier / job.part / f"replaced-by-{job.id}" / path.name))


def _keep_earlier_held(bench: Bench, job: Job) -> None:
    """A held result that a newer one has answered would mislead; it goes where earlier results are."""
    held = bench.held / job.part
    if held.exists():
        move_away(held, free_name(bench.earlier / job.part / f"replaced-by-{job.id}" / "held"))
    crash_point(CrashPoint.HELD_EARLIER_KEPT)


def _place_in_held(bench: Bench, job: Job) -> None:
    result, held = result_folder(bench, job), bench.held / job.part
    if not result.is_dir():  # renamed before the crash
        return
    _keep_earlier_held(bench, job)
    result.rename(held)
    sync_folder(bench.held)
    sync_folder(result.parent)
    crash_point(CrashPoint.HELD_PLACED)


def _offer_sheet(bench: Bench, journal: Journal, job: Job) -> None:
    """Lay the drafted sheet among the rules, to be filled in there; a sheet the person has is never touched."""
    draft = bench.held / job.part / f"{job.part}{DRAFT_ENDING}"
    if not draft.is_file():
        return
    sheet = find_sheet(bench.rules, job.part)
    if sheet is None:
        sheet = bench.rules / "sheets" / f"{job.part}.toml"
        make_folder(sheet.parent)
        copy_file(draft, sheet)
        crash_point(CrashPoint.SHEET_OFFERED)
    if sheet.read_bytes() == draft.read_bytes():
        journal.sheet_offered(job.id, sha256_of(sheet))


def _file_original(bench: Bench, journal: Journal, job: Job) -> None:
    """Move the scan to originals/PART/DIGEST-NAME.

    The place is recorded before the move, so that a second try aims at the same. The same bytes dropped twice are
    one original, and a job that runs again has its original there already.
    """
    scan = bench.job_folder(job.id) / "scan" / job.scan_name
    if job.original is None:
        place = _place_of_original(bench, job, scan)
        journal.plan_original(job.id, place)
        crash_point(CrashPoint.ORIGINAL_PLANNED)
    else:
        place = job.original
    target = bench.originals / place
    if not target.exists() and scan.exists():
        make_folder(target.parent)
        scan.rename(target)
        sync_folder(target.parent)


def _place_of_original(bench: Bench, job: Job, scan: Path) -> str:
    wanted = bench.originals / job.part / f"{(job.sha256 or '')[:12]}-{job.scan_name}"
    if not (is_whole_scan(wanted) and digest_of(scan) == digest_of(wanted)):
        wanted = free_name(wanted)
    return wanted.relative_to(bench.originals).as_posix()
