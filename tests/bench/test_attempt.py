"""A job that crashes, hangs, eats memory or lies about its end hurts itself alone."""

import threading

import psutil
import pytest
from service import (
    digest,
    drop,
    files_below,
    nothing_is_left_in_hand,
    quick,
    results_of,
    rows,
    serve_in_a_process,
    serve_until_idle,
    serving,
    until,
)

from verifier.bench import Finished, Notice, SetAside, TriedAgain, run_bench

ENDINGS = {
    "abort": "SIGABRT",
    "exit": "without a result",
    "sys.exit": "without a result",
    "raise": "RuntimeError: the stub has a bug in [brackets]",
    "nothing": "not a finished file|left no outcome",
    "grandchild": "SIGABRT",
}


@pytest.mark.repeated
@pytest.mark.parametrize("deed", list(ENDINGS))
def test_a_job_that_ends_badly_three_times_is_set_aside_with_the_reason_and_the_next_file_is_served(bench, deed):
    drop(bench, "pump_rocker.off", f"{deed}\n")
    drop(bench, "latch_lever.off", "PASS\nlonger, so it comes second")
    events = serve_until_idle(bench, "stubs:misbehaving", quick(parallel_jobs=1))
    (aside,) = [event for event in events if isinstance(event, SetAside)]
    assert len([event for event in events if isinstance(event, TriedAgain)]) == 2
    assert aside.folder == bench.held / "pump_rocker"
    assert any(words in aside.reason for words in ENDINGS[deed].split("|"))
    assert files_below(aside.folder) == ["pump_rocker.set_aside.txt", "pump_rocker.traceback.txt"]
    assert (aside.folder / "pump_rocker.set_aside.txt").read_text().strip() == aside.reason
    assert [event.part for event in events if isinstance(event, Finished)] == ["latch_lever"]
    assert {row["part"]: row["state"] for row in rows(bench)} == {"pump_rocker": "set aside", "latch_lever": "done"}
    assert len(files_below(bench.originals)) == 2
    assert nothing_is_left_in_hand(bench)


def test_the_traceback_of_native_code_is_kept_too(bench):
    drop(bench, "pump_rocker.off", "abort\n")
    serve_until_idle(bench, "stubs:misbehaving")
    assert "Fatal Python error: Aborted" in (bench.held / "pump_rocker" / "pump_rocker.traceback.txt").read_text()


@pytest.mark.repeated
@pytest.mark.parametrize("deed", ["hang", "hang in native code"])
def test_a_job_that_hangs_is_stopped_at_its_deadline(bench, deed):
    drop(bench, "pump_rocker.off", f"{deed}\n")
    (aside,) = [
        event
        for event in serve_until_idle(bench, "stubs:misbehaving", quick(deadline_s=0.5))
        if isinstance(event, SetAside)
    ]
    assert "longer than" in aside.reason


@pytest.mark.repeated
def test_a_job_that_eats_memory_is_stopped_while_another_goes_on(bench):
    drop(bench, "pump_rocker.off", "eat memory\n")
    drop(bench, "latch_lever.off", "PASS\nlonger, so it comes second")
    events = serve_until_idle(bench, "stubs:misbehaving", quick(memory_bytes=250 << 20))
    (aside,) = [event for event in events if isinstance(event, SetAside)]
    assert "more memory than 0.2 GiB" in aside.reason
    assert [event.part for event in events if isinstance(event, Finished)] == ["latch_lever"]


@pytest.mark.repeated
def test_what_a_crashed_job_started_is_ended_with_it(bench):
    drop(bench, "pump_rocker.off", "grandchild\n")
    serve_until_idle(bench, "stubs:misbehaving")
    commands = [" ".join(process.info["cmdline"] or []) for process in psutil.process_iter(["cmdline"])]
    assert not [command for command in commands if "grandchild-of-the-bench-test" in command]


def test_a_full_disk_is_no_fault_of_the_job(bench):
    drop(bench, "pump_rocker.off", "disk full\n")
    events = serve_until_idle(bench, "stubs:misbehaving")
    assert [event for event in events if isinstance(event, Notice) and "disk is full" in event.text]
    (row,) = rows(bench)
    assert (row["state"], row["failures"]) == ("queued", 0)
    serve_until_idle(bench, "stubs:normal")
    assert [row["state"] for row in rows(bench)] == ["done"]


def test_a_job_that_is_set_aside_goes_on_when_it_is_dropped_again(bench):
    drop(bench, "pump_rocker.off", "abort\n")
    serve_until_idle(bench, "stubs:misbehaving")
    drop(bench, "pump_rocker.off", "PASS\n")
    serve_until_idle(bench, "stubs:misbehaving")
    assert not (bench.held / "pump_rocker").exists()
    assert (bench.slicer / "pump_rocker.3mf").is_file()


def test_a_service_that_dies_in_the_middle_of_a_job_too_often_sets_it_aside(bench):
    """So that a scan that takes the whole machine down does not do so for ever."""
    drop(bench, "pump_rocker.off")
    serve_in_a_process(bench, "stubs:slow", "attempt-started").join()
    events: list = []
    run_bench(
        bench.root,
        events.append,
        threading.Event(),
        compute="stubs:normal",
        until_idle=True,
        limits=quick(interruptions=1),
    )
    (aside,) = [event for event in events if isinstance(event, SetAside)]
    assert "ended 1 times during this job" in aside.reason


@pytest.mark.repeated
@pytest.mark.parametrize("deed", ["hang", "hang in native code"])
def test_a_worker_does_not_outlive_the_service(bench, deed):
    drop(bench, "pump_rocker.off", f"{deed}\n")
    service = serve_in_a_process(bench, "stubs:misbehaving", until_idle=False)
    half = bench.jobs / "1" / "try-1" / "out" / "half.3mf"
    until(half.exists)
    workers = _workers_writing_below(bench)
    assert workers
    service.kill()
    service.join()
    until(lambda: not any(_works(worker) for worker in workers), seconds=1.0)


@pytest.mark.repeated
@pytest.mark.parametrize("how", ["replaced", "deleted"])
def test_a_scan_replaced_or_deleted_while_it_is_read_is_measured_anew_or_missed_and_never_mixed(bench, how):
    drop(bench, "pump_rocker.off", "PASS\nold")
    with serving(bench, "stubs:slow") as events:
        until(lambda: list(bench.jobs.glob("1/try-1/pid")))
        (scan,) = bench.jobs.glob("1/scan/*")
        if how == "deleted":
            scan.unlink()
        else:
            (bench.root / "new").write_text("PASS\nnew")
            (bench.root / "new").replace(scan)
        until(lambda: any(isinstance(event, Finished | SetAside) for event in events))
    if how == "deleted":
        (aside,) = [event for event in events if isinstance(event, SetAside)]
        assert "Drop it again" in aside.reason
        assert results_of(bench) == []
    else:
        assert results_of(bench) == [(digest("PASS\nnew"), "PASS")]
        assert [row["sha256"] for row in rows(bench)] == [digest("PASS\nnew")]


def _works(process):
    """A zombie does not: it waits for its parent to hear of its end."""
    return process.is_running() and process.status() != psutil.STATUS_ZOMBIE


def _workers_writing_below(bench):
    found = []
    for process in psutil.process_iter():
        try:
            if any(str(bench.jobs) in file.path for file in process.open_files()):
                found.append(process)
        except psutil.Error:
            continue
    return found
