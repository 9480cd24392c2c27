"""Jobs side by side: as many as there are cores, and as their memory allows."""

import threading
from types import SimpleNamespace

import pytest
from service import drop, quick, rows, serve_until_idle

from verifier.bench import Finished, Stage
from verifier.bench.attempt import AttemptEnd, End, Order
from verifier.bench.memory import MIB, MemoryNeed, Peak
from verifier.bench.this_machine import ThisMachine

MILLION_TRIANGLES = 84 + 50 * 1_000_000  # bytes of a binary STL


def job(name, size_bytes):
    return SimpleNamespace(scan_name=name, size_bytes=size_bytes)


def test_a_million_triangles_are_expected_to_take_what_was_measured_of_them():
    """The peaks of a whole job in tests/benchmarks/README.md: never under, never half over, whatever the format."""
    for triangles, peak_mib in ((102_950, 379), (202_311, 416), (505_412, 551), (1_001_556, 862), (2_023_427, 1525)):
        expected_mib = MemoryNeed().expected_bytes("latch_lever.stl", 84 + 50 * triangles) / MIB
        assert peak_mib <= expected_mib < 1.5 * peak_mib
    assert MemoryNeed().expected_bytes("latch_lever.STL", MILLION_TRIANGLES) == pytest.approx(930 * MIB, rel=0.001)
    assert MemoryNeed().expected_bytes("latch_lever.stl", 0) == 320 * MIB
    assert MemoryNeed().expected_bytes("latch_lever.ply", 19_000_000) == pytest.approx(930 * MIB, rel=0.001)


def learned(*peaks_mib, size_bytes=MILLION_TRIANGLES):
    return MemoryNeed(Peak("latch_lever.stl", size_bytes, peak_mib * MIB) for peak_mib in peaks_mib)


def test_a_job_that_took_more_than_expected_raises_what_is_expected_of_its_kind_alone():
    need = learned(2000)
    assert need.expected_bytes("fence_clip.stl", MILLION_TRIANGLES) == pytest.approx(2000 * MIB, rel=0.001)
    assert need.expected_bytes("fence_clip.ply", 19_000_000) == pytest.approx(930 * MIB, rel=0.001)


@pytest.mark.parametrize(
    ("peaks_mib", "expected_mib"),
    [
        ([600] * 4, 930),  # too few to go below the figure
        ([600, 620, 590, 600, 610], 620),
        ([600] * 4 + [2000], 2000),
        ([2000] + [600] * 19, 2000),
        ([2000] + [600] * 20, 600),  # twenty jobs later an exception is forgotten
    ],
)
def test_what_is_expected_is_the_worst_of_the_last_jobs_once_there_were_some(peaks_mib, expected_mib):
    expected_bytes = learned(*peaks_mib).expected_bytes("fence_clip.stl", MILLION_TRIANGLES)
    assert expected_bytes == pytest.approx(expected_mib * MIB, rel=0.001)


def test_what_a_small_file_took_and_a_peak_that_was_not_seen_say_nothing_of_triangles():
    assert learned(*[2000] * 9, size_bytes=1000).expected_bytes("a.stl", MILLION_TRIANGLES) < 931 * MIB
    assert learned(*[0] * 9).expected_bytes("a.stl", MILLION_TRIANGLES) > 929 * MIB


def engine_with(free_mib=100_000, **changes):
    return ThisMachine(quick(**changes), "stubs:normal", free_bytes=lambda: free_mib * MIB)


def test_a_big_job_is_let_in_alone_however_big_it_is_and_a_small_one_beside_it():
    engine = engine_with(memory_bytes=1500 * MIB, parallel_jobs=4)
    small, big, huge = job("a.stl", 1000), job("b.stl", MILLION_TRIANGLES), job("c.stl", 100 * MILLION_TRIANGLES)
    assert engine.choose([], [huge]) is huge
    assert engine.choose([small], [huge]) is huge  # it is stopped before it takes the small one's memory
    assert engine.choose([small, small], [huge]) is None
    assert engine.choose([small], [big]) is big
    assert engine.choose([big], [big]) is None
    assert engine.choose([big], [big, small]) is small
    assert engine.choose([huge], [big, small]) is small
    assert engine.choose([small, small], [small]) is small
    assert engine.choose([small] * 4, [small]) is None


def test_what_is_free_on_the_machine_just_now_counts_beside_the_service_s_share():
    small = job("a.stl", 1000)
    assert engine_with(free_mib=512 + 320 + 321).choose([small], [small]) is small
    assert engine_with(free_mib=512 + 320 + 319).choose([small], [small]) is None
    assert engine_with(free_mib=0).choose([], [small]) is small  # it would never run


def test_what_a_running_job_has_taken_already_is_not_kept_free_a_second_time(monkeypatch, tmp_path):
    """450 MiB are free beside one that has taken 200 of its 320: it wants 120 more, the next one 320."""
    engine, chosen = engine_with(free_mib=512 + 450, memory_bytes=2048 * MIB), []
    small = job("latch_lever.stl", 1000)

    def stand_in(order, stop, on_stage, on_memory):
        chosen.append(engine.choose([small], [small]))
        on_memory(200 * MIB)
        chosen.append(engine.choose([small], [small]))
        return AttemptEnd(End.FINISHED)

    monkeypatch.setattr("verifier.bench.this_machine.run_attempt", stand_in)
    (tmp_path / "latch_lever.stl").write_bytes(bytes(1000))
    order = Order("stubs:normal", tmp_path / "latch_lever.stl", tmp_path, tmp_path / "out", quick())
    engine.run_attempt(order, threading.Event(), print)
    assert chosen == [None, small]


@pytest.mark.parametrize(("size_bytes", "most_mib"), [(1000, 640), (MILLION_TRIANGLES, 1860), (10**10, 2648 - 400)])
def test_a_job_may_use_its_share_a_big_one_twice_what_is_expected_and_none_what_a_small_one_needs(
    monkeypatch, tmp_path, size_bytes, most_mib
):
    given = []

    def stand_in(order, stop, on_stage, on_memory):
        given.append(order.limits.memory_bytes)
        return AttemptEnd(End.FINISHED)

    monkeypatch.setattr("verifier.bench.this_machine.run_attempt", stand_in)
    scan = tmp_path / "latch_lever.stl"
    with scan.open("wb") as file:
        file.truncate(size_bytes)  # no bytes are written
    limits = quick(memory_bytes=2648 * MIB, parallel_jobs=5)
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

    def note(self, peak):
        seen.append(peak.peak_bytes)
        learn(self, peak)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(MemoryNeed, "learn", note)
        serve_until_idle(bench, "stubs:slow")
    assert len(seen) == 1
    assert 5 * MIB < seen[0] < 400 * MIB  # a Python process with numpy in it
    (row,) = rows(bench)
    assert row["peak_bytes"] == seen[0]  # the next start knows it


def test_a_shop_with_one_core_runs_one_job_at_a_time():
    assert engine_with(parallel_jobs=1).choose([job("a.stl", 10)], [job("b.stl", 10)]) is None
