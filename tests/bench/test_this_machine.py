"""Jobs side by side: as many as there are cores, and as their memory allows."""

import dataclasses
import threading
from types import SimpleNamespace

import pytest
from service import drop, quick, serve_until_idle

from verifier.bench import Finished, Stage
from verifier.bench.attempt import AttemptEnd, End, Order
from verifier.bench.memory import MIB, MemoryNeed
from verifier.bench.this_machine import ThisMachine

MILLION_TRIANGLES = 84 + 50 * 1_000_000  # bytes of a binary STL


def job(name, size_bytes):
    return SimpleNamespace(scan_name=name, size_bytes=size_bytes)


def test_a_million_triangles_are_expected_to_take_what_was_measured_of_them():
    """The peaks of a whole job in DEVELOPERS.md: never under, never half over, whatever the format."""
    for triangles, peak_mib in ((102_950, 323), (202_311, 352), (505_412, 512), (1_001_556, 672), (2_023_427, 1320)):
        expected_mib = MemoryNeed().expected_bytes("latch_lever.stl", 84 + 50 * triangles) / MIB
        assert peak_mib <= expected_mib < 1.5 * peak_mib
    assert MemoryNeed().expected_bytes("latch_lever.STL", MILLION_TRIANGLES) == pytest.approx(800 * MIB, rel=0.001)
    assert MemoryNeed().expected_bytes("latch_lever.stl", 0) == 280 * MIB
    assert MemoryNeed().expected_bytes("latch_lever.ply", 19_000_000) == pytest.approx(800 * MIB, rel=0.001)


def test_a_job_that_took_more_than_expected_raises_what_is_expected_of_its_kind_alone():
    need = MemoryNeed()
    need.learn("latch_lever.stl", MILLION_TRIANGLES, 2000 * MIB)
    assert need.expected_bytes("fence_clip.stl", MILLION_TRIANGLES) == pytest.approx(2000 * MIB, rel=0.001)
    assert need.expected_bytes("fence_clip.ply", 19_000_000) == pytest.approx(800 * MIB, rel=0.001)
    need.learn("latch_lever.stl", MILLION_TRIANGLES, 100 * MIB)
    assert need.expected_bytes("fence_clip.stl", MILLION_TRIANGLES) == pytest.approx(2000 * MIB, rel=0.001)


def test_what_a_small_file_took_says_nothing_of_triangles():
    need = MemoryNeed()
    need.learn("latch_lever.stl", 1000, 2000 * MIB)
    assert need.expected_bytes("latch_lever.stl", MILLION_TRIANGLES) == pytest.approx(800 * MIB, rel=0.001)


def test_a_big_job_runs_alone_and_is_let_in_however_big_it_is():
    engine = ThisMachine(quick(memory_bytes=1200 * MIB, parallel_jobs=4), "stubs:normal")
    small, big, huge = job("a.stl", 1000), job("b.stl", MILLION_TRIANGLES), job("c.stl", 100 * MILLION_TRIANGLES)
    assert engine.has_room([], huge)
    assert engine.has_room([small], big)
    assert not engine.has_room([small, small], big)
    assert engine.has_room([small, small, small], small)
    assert not engine.has_room([small] * 4, small)


@pytest.mark.parametrize(("size_bytes", "most_mib"), [(1000, 560), (MILLION_TRIANGLES, 1600), (10**10, 2048)])
def test_a_job_may_use_its_share_a_big_one_twice_what_is_expected_and_none_more_than_there_is(
    monkeypatch, tmp_path, size_bytes, most_mib
):
    given = []

    def stand_in(order, stop, on_stage):
        given.append(order.limits.memory_bytes)
        return AttemptEnd(End.FINISHED)

    monkeypatch.setattr("verifier.bench.this_machine.run_attempt", stand_in)
    scan = tmp_path / "latch_lever.stl"
    with scan.open("wb") as file:
        file.truncate(size_bytes)  # no bytes are written
    limits = quick(memory_bytes=2048 * MIB, parallel_jobs=4)
    order = Order("stubs:normal", scan, tmp_path, tmp_path / "out", limits)
    ThisMachine(limits, "stubs:normal").run_attempt(order, threading.Event(), print)
    assert given == [pytest.approx(most_mib * MIB, rel=0.001)]


@pytest.mark.parametrize(("memory_mib", "together"), [(1024, True), (200, False)])
def test_two_jobs_run_side_by_side_when_their_memory_allows(bench, memory_mib, together):
    drop(bench, "latch_lever.off")
    drop(bench, "fence_clip.off")
    events = serve_until_idle(bench, "stubs:slow", quick(memory_bytes=memory_mib * MIB))
    told = [type(event) for event in events if isinstance(event, Stage | Finished)]
    before_the_first_end = [event for event in told[: told.index(Finished)] if event is Stage]
    assert told.count(Finished) == 2
    # One job alone says two stages and 'reading' once more after its pause.
    assert (len(before_the_first_end) > 3) == together


def test_the_peak_of_an_attempt_is_measured(bench):
    drop(bench, "latch_lever.off")
    seen = []
    learn = MemoryNeed.learn

    def note(self, name, size_bytes, peak_bytes):
        seen.append(peak_bytes)
        learn(self, name, size_bytes, peak_bytes)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(MemoryNeed, "learn", note)
        serve_until_idle(bench, "stubs:slow")
    assert len(seen) == 1
    assert 5 * MIB < seen[0] < 400 * MIB  # a Python process with numpy in it


def test_a_shop_with_one_core_runs_one_job_at_a_time():
    engine = ThisMachine(dataclasses.replace(quick(), parallel_jobs=1), "stubs:normal")
    assert not engine.has_room([job("a.stl", 10)], job("b.stl", 10))
