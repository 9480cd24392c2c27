"""The service is killed after each single step; whatever step it was, every file comes out once and whole."""

import multiprocessing
import shutil
import signal
import tempfile
from pathlib import Path

import pytest
from power import cut_power, serve_until_power_cut
from service import (
    digest,
    drop,
    files_below,
    make_bench,
    mesh_is_whole_and_beside_its_report,
    nothing_is_left_in_hand,
    results_of,
    rows,
    serve_in_a_process,
    serve_until_idle,
)

from verifier.bench import open_bench
from verifier.bench.attempt import prepare_workers
from verifier.bench.crashpoint import CrashPoint

FIRST_PASS, FAILED, NEW_PASS, ARMREST, CLIP = "PASS\nfirst", "FAIL\n", "PASS\nnew", "armrest", "clip"
# Only met on the way back from a crash: where the first crash must have been.
ON_THE_WAY_BACK = {
    CrashPoint.RECOVERY_CLAIM_SETTLED: CrashPoint.CLAIM_MOVED,
    CrashPoint.RECOVERY_ATTEMPT_DROPPED: CrashPoint.ATTEMPT_STARTED,
}
EXPECTED_RESULTS = sorted(
    [
        (digest(FIRST_PASS), "PASS"),
        (digest(FAILED), "FAIL"),
        (digest(NEW_PASS), "PASS"),
        (digest(ARMREST), "UNDECIDED"),
        (digest(ARMREST), "PASS"),
        (digest(CLIP), "UNDECIDED"),
    ]
)


def prepare_bench(place):
    """A pass that will be replaced, a held result that will be answered, and one whose sheet comes later."""
    bench = make_bench(Path(tempfile.mkdtemp(dir=place)))
    for name, content in [("latch_lever", FIRST_PASS), ("latch_lever", FAILED), ("seat_armrest", ARMREST)]:
        drop(bench, f"{name}.off", content)
        serve_until_idle(bench)
    return bench


def put_in_hand(prepared, place):
    """The same, each time anew, with two files just dropped and the sheet just saved."""
    root = place / "bench"
    shutil.copytree(prepared.root, root)
    bench = open_bench(root)
    drop(bench, "latch_lever.off", NEW_PASS)
    drop(bench, "fence_clip.off", CLIP)
    (bench.rules / "sheets" / "seat_armrest.toml").write_text("reading = 80.0")
    return bench


@pytest.fixture(scope="module")
def prepared(quick_place):
    return prepare_bench(quick_place)


@pytest.fixture
def bench(prepared, quick_place):
    return put_in_hand(prepared, Path(tempfile.mkdtemp(dir=quick_place)))


def run(bench, crash_at=""):
    process = serve_in_a_process(bench, "stubs:drafting", crash_at)
    process.join(20)
    return process.exitcode


def run_until_power_cut(bench, crash_at, record, left_out="", time_of_it=1):
    prepare_workers("stubs:drafting")
    process = multiprocessing.get_context("forkserver").Process(
        target=serve_until_power_cut, args=(bench.root, "stubs:drafting", crash_at, record, left_out, time_of_it)
    )
    process.start()
    process.join(20)
    return process.exitcode


def assert_everything_came_out_once(bench):
    assert nothing_is_left_in_hand(bench)
    assert results_of(bench) == EXPECTED_RESULTS
    assert [row["state"] for row in rows(bench)] == ["done"] * 5
    assert sorted(row["sha256"] for row in rows(bench)) == sorted(
        digest(content) for content in (FIRST_PASS, FAILED, NEW_PASS, ARMREST, CLIP)
    )
    originals = [(bench.originals / name).read_text() for name in files_below(bench.originals)]
    assert sorted(originals) == sorted([FIRST_PASS, FAILED, NEW_PASS, ARMREST, CLIP])
    meshes = list(bench.slicer.glob("*.3mf"))
    assert {mesh.stem for mesh in meshes} == {"latch_lever", "seat_armrest"}
    assert all(mesh_is_whole_and_beside_its_report(mesh) for mesh in meshes)
    assert (bench.rules / "sheets" / "fence_clip.toml").read_text() == "# measure these"
    shown = [
        bench.slicer,
        bench.originals,
        bench.rules,
        *(held for held in bench.held.iterdir() if held != bench.earlier),
    ]
    assert not [file for folder in shown for file in folder.rglob(".*")]


def test_without_a_crash_everything_comes_out_once(bench):
    serve_until_idle(bench, "stubs:drafting")
    assert_everything_came_out_once(bench)


@pytest.mark.repeated
@pytest.mark.parametrize("point", [point for point in CrashPoint if point not in ON_THE_WAY_BACK])
def test_after_a_kill_at_any_step_everything_comes_out_once(bench, point):
    assert run(bench, crash_at=point) == -signal.SIGKILL
    serve_until_idle(bench, "stubs:drafting")
    assert_everything_came_out_once(bench)


def test_after_one_kill_a_start_at_ever_later_steps_everything_comes_out_once(bench):
    """Each start takes up what the kill before it left and is killed further on."""
    for point in ("claim-moved", "claim-synced", "attempt-started", "result-synced", "report-placed", "mesh-placed"):
        assert run(bench, crash_at=point) == -signal.SIGKILL
    serve_until_idle(bench, "stubs:drafting")
    assert_everything_came_out_once(bench)


@pytest.mark.parametrize("point", [point for point in CrashPoint if point not in ON_THE_WAY_BACK])
def test_after_a_power_cut_at_any_step_everything_comes_out_once(bench, tmp_path, point):
    assert run_until_power_cut(bench, point, tmp_path / "record") == -signal.SIGKILL
    cut_power(bench, tmp_path / "record")
    serve_until_idle(bench, "stubs:drafting")
    assert_everything_came_out_once(bench)


@pytest.mark.parametrize(
    ("point", "left_out"),
    [
        (CrashPoint.CLAIM_QUEUED, "scan_files.py:sync_scan:sync_file"),  # the scan is empty
        (CrashPoint.ORIGINAL_FILED, "result.py:_synced:sync_file"),  # mesh and report are empty
    ],
)
def test_the_power_cut_of_these_tests_finds_a_sync_that_is_missing(bench, tmp_path, point, left_out):
    """Else the test above could not fail; power_loss.py leaves out every sync in turn."""
    assert run_until_power_cut(bench, point, tmp_path / "record", left_out) == -signal.SIGKILL
    cut_power(bench, tmp_path / "record")
    serve_until_idle(bench, "stubs:drafting")
    with pytest.raises((AssertionError, ValueError)):  # too few, too many, or a report that cannot be read
        assert_everything_came_out_once(bench)


@pytest.mark.repeated
@pytest.mark.parametrize("point", list(ON_THE_WAY_BACK))
def test_after_a_kill_on_the_way_back_from_a_kill_everything_comes_out_once(bench, point):
    assert run(bench, crash_at=ON_THE_WAY_BACK[point]) == -signal.SIGKILL
    assert run(bench, crash_at=point) == -signal.SIGKILL
    serve_until_idle(bench, "stubs:drafting")
    assert_everything_came_out_once(bench)


def test_the_variable_of_the_tests_changes_nothing_when_it_names_no_step(bench):
    assert run(bench, crash_at="no-such-step") == 0
    assert_everything_came_out_once(bench)
