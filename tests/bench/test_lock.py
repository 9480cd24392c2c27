"""One service a bench."""

import os

import pytest
from service import daemon, drop, serve_in_a_process, serving, until

from verifier.bench import Ready, status
from verifier.bench.lock import hold_lock
from verifier.errors import EXIT_LOCKED, BenchBusy


@pytest.mark.repeated
def test_a_second_service_of_the_same_bench_goes_away_with_its_own_exit_status(bench):
    with serving(bench) as events:
        until(lambda: any(isinstance(event, Ready) for event in events))
        second = daemon(bench)
        _, complaint = second.communicate(timeout=30)
    assert second.returncode == EXIT_LOCKED == 75
    assert "another verifier watches this bench" in complaint


def test_a_bench_says_whether_it_is_watched(bench):
    with serving(bench) as events:
        until(lambda: any(isinstance(event, Ready) for event in events))
        assert status(bench.root).watched
    assert not status(bench.root).watched


@pytest.mark.repeated
def test_the_lock_goes_with_the_process_that_held_it_even_while_its_worker_lives(bench):
    drop(bench, "latch_lever.off")
    service = serve_in_a_process(bench, "stubs:slow", until_idle=False)
    until((bench.jobs / "1" / "try-1" / "pid").exists)
    with pytest.raises(BenchBusy), hold_lock(bench.lock):
        pass
    service.kill()
    service.join()
    with hold_lock(bench.lock):
        pass


def test_a_lock_is_let_go_when_the_work_ends_in_an_error(bench):
    with pytest.raises(ZeroDivisionError), hold_lock(bench.lock):
        raise ZeroDivisionError
    with hold_lock(bench.lock):
        assert os.path.exists(bench.lock)  # noqa: PTH110
