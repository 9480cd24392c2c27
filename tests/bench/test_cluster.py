"""Jobs on a cluster: whatever of it is killed, each comes out once."""

import sys
import threading

import pytest
from loopback import Loopback, free_port
from service import (
    digest,
    drop,
    nothing_is_left_in_hand,
    quick,
    results_of,
    rows,
    serve_until_idle,
    serving,
    until,
)

from verifier.bench import Claimed, Finished, Notice, Stage, run_bench
from verifier.bench.attempt import End, Order
from verifier.bench.elsewhere import run_there
from verifier.bench.ticket import Ticket
from verifier.errors import WrongUsage

pytest.importorskip("distributed")
# Two Python processes that load a library of this size start in some seconds, on a busy machine in many.
PATIENCE_S = 90.0


@pytest.fixture
def cluster():
    here = Loopback(workers=1)
    yield here
    here.close()


def of_kind(events, kind):
    return [event for event in events if isinstance(event, kind)]


def come_out(bench, contents):
    """Each once: one result, one record, nothing left over."""
    assert results_of(bench) == sorted((digest(content), "PASS") for content in contents)
    assert [row["state"] for row in rows(bench)] == ["done"] * len(contents)
    assert nothing_is_left_in_hand(bench)


def test_killing_worker_and_scheduler_in_the_middle_of_a_job_loses_and_doubles_nothing(bench, cluster):
    """One start of the processes for three stories: they take longer than the jobs."""
    with serving(bench, "stubs:slow", cluster=cluster.address) as events:
        drop(bench, "latch_lever.off", "PASS\nundisturbed")
        until(lambda: len(of_kind(events, Finished)) == 1, PATIENCE_S)
        assert [event.stage for event in of_kind(events, Stage)] == ["reading", "reading", "judging"]

        drop(bench, "pump_rocker.off", "PASS\nworker killed")
        until(lambda: "pump_rocker" in {event.part for event in of_kind(events, Stage)}, PATIENCE_S)
        cluster.kill_worker()
        until(lambda: any("has no workers" in event.text for event in of_kind(events, Notice)), PATIENCE_S)
        cluster.start_worker()
        until(lambda: len(of_kind(events, Finished)) == 2, PATIENCE_S)

        before = len(of_kind(events, Stage))
        drop(bench, "fence_clip.off", "PASS\nscheduler killed")
        until(lambda: len(of_kind(events, Stage)) > before, PATIENCE_S)
        cluster.kill_scheduler()
        until(lambda: any("does not answer" in event.text for event in of_kind(events, Notice)), PATIENCE_S)
        cluster.start_scheduler()
        cluster.start_worker()
        until(lambda: len(of_kind(events, Finished)) == 3, PATIENCE_S)
    come_out(bench, ["PASS\nundisturbed", "PASS\nworker killed", "PASS\nscheduler killed"])
    told = {row["part"]: (row["failures"], row["interruptions"]) for row in rows(bench)}
    assert told["latch_lever"] == (0, 0)
    assert told["pump_rocker"] == (0, 1)  # the machine under it went: counted apart from the scan's own failures
    assert told["fence_clip"] == (0, 0)


def test_a_scheduler_that_is_not_there_is_said_and_the_file_waits_for_it(bench):
    address = f"tcp://127.0.0.1:{free_port()}"
    with serving(bench, cluster=address) as events:
        drop(bench, "latch_lever.off")
        until(lambda: any("does not answer" in event.text for event in of_kind(events, Notice)), PATIENCE_S)
        until(lambda: of_kind(events, Claimed), PATIENCE_S)
    (row,) = rows(bench)
    assert (row["state"], row["attempt"]) == ("queued", 0)
    serve_until_idle(bench)
    come_out(bench, ["PASS\n"])


def test_without_the_library_the_sentence_says_what_to_install(bench, monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WrongUsage, match="pip install"):
        run_bench(bench.root, print, threading.Event(), cluster="tcp://127.0.0.1:8786")


@pytest.mark.parametrize("address", ["", "no such kind://here"])
def test_what_is_no_address_is_said_at_once(bench, address):
    with pytest.raises(WrongUsage, match="no address"):
        run_bench(bench.root, print, threading.Event(), cluster=address)


def order_for(bench, tmp_path):
    attempt = tmp_path / "jobs" / "1" / "try-1"
    (attempt / "out").mkdir(parents=True)
    scan = tmp_path / "latch_lever.off"
    scan.write_text("PASS\n")
    return Order("stubs:normal", scan, bench.rules, attempt / "out", quick())


def test_a_task_that_is_started_twice_is_done_once(bench, tmp_path):
    order = order_for(bench, tmp_path)
    Ticket(order.out.parent).issue()
    assert run_there(order, 1 << 30).end is End.FINISHED
    assert run_there(order, 1 << 30).end is End.LOST


def test_a_task_that_is_wanted_no_more_does_not_begin(bench, tmp_path):
    order = order_for(bench, tmp_path)
    ticket = Ticket(order.out.parent)
    ticket.issue()
    ticket.withdraw()
    assert run_there(order, 1 << 30).end is End.LOST
    assert not list(order.out.iterdir())


def test_a_worker_that_does_not_see_the_bench_says_which_folder(bench, tmp_path):
    order = order_for(bench, tmp_path)
    order.scan.unlink()
    told = run_there(order, 1 << 30)
    assert told.end is End.STOPPED
    assert str(order.out) in told.sentence
