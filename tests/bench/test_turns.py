"""Whose turn it is: laws of the pure choice, and whole days of jobs played through with it."""

import heapq
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from verifier.bench.memory import MIB
from verifier.bench.turns import FILE_BYTES_A_PLACE, SMALL_BYTES, Room, is_small, next_to_start, turn_of

expected = st.integers(280, 4000).map(lambda mib: mib * MIB)
rooms = st.builds(
    Room,
    places=st.integers(1, 5),
    free_bytes=st.integers(-500, 5000).map(lambda mib: mib * MIB),
    besides=st.integers(0, 1),
    kept=st.integers(0, 1),
)


@given(st.lists(expected, min_size=1, max_size=8), st.lists(expected, max_size=5), rooms)
def test_a_small_job_with_room_for_it_is_never_kept_waiting_by_big_ones(waiting, running, room):
    """One runs beside any number of big ones and before any number of big ones that wait."""
    room = Room(room.places, max(room.free_bytes, SMALL_BYTES), besides=1)
    running = [each for each in running if not is_small(each)][: room.places]
    if any(is_small(each) for each in waiting) and running:
        assert next_to_start(waiting, running, room) is not None


@given(st.lists(expected, min_size=1, max_size=8), st.lists(expected, max_size=5), rooms)
def test_what_starts_fits_and_passes_the_first_in_line_only_where_that_must_wait_for_a_big_one(waiting, running, room):
    place = next_to_start(waiting, running, room)
    if place is not None and running:
        assert len(running) < room.places + room.besides
        assert waiting[place] <= room.free_bytes
        if place > 0:
            assert is_small(waiting[place])
            assert any(not is_small(each) for each in running)
            assert next_to_start(waiting[:1], running, room) is None


@given(st.lists(expected, min_size=1, max_size=8), rooms)
def test_where_nothing_runs_the_first_in_line_starts_however_much_it_wants(waiting, room):
    assert next_to_start(waiting, [], room) == 0


@given(st.integers(1, 1000), st.integers(0, 10**9), st.integers(1, 1000), st.integers(0, 10**9))
def test_only_so_many_later_jobs_go_before_one_as_its_size_says(number, size_bytes, later, other_bytes):
    if turn_of(number + later, other_bytes) < turn_of(number, size_bytes):
        assert later < size_bytes / FILE_BYTES_A_PLACE


def played(jobs, room_of, memory_bytes):
    """When each job starts, seconds; job: (arrives at, file bytes, expected bytes, takes seconds)."""
    started, running, waiting, arrived = {}, [], [], 0
    now_s = 0.0
    while len(started) < len(jobs):
        while arrived < len(jobs) and jobs[arrived][0] <= now_s:
            waiting.append(arrived)
            arrived += 1
        while running and running[0][0] <= now_s:
            heapq.heappop(running)
        waiting.sort(key=lambda number: (turn_of(number, jobs[number][1]), number))
        while True:
            under_way = [jobs[number][2] for _, number in running]
            place = next_to_start([jobs[n][2] for n in waiting], under_way, room_of(memory_bytes - sum(under_way)))
            if place is None:
                break
            number = waiting.pop(place)
            started[number] = now_s
            heapq.heappush(running, (now_s + jobs[number][3], number))
        ends = [running[0][0]] if running else []
        comes = [jobs[arrived][0]] if arrived < len(jobs) else []
        now_s = min(ends + comes, default=now_s)
    return started


BIG = (50_000_000, 800 * MIB, 60.0)
SMALL = (1_000_000, 290 * MIB, 3.0)


@pytest.mark.parametrize("cores", [1, 2, 4])
@pytest.mark.parametrize("memory_mib", [1300, 6000])
def test_a_small_job_among_many_big_ones_starts_at_once(cores, memory_mib):
    jobs = [(0.0, *BIG) for _ in range(20)] + [(70.0, *SMALL)]
    started = played(jobs, lambda free: Room(cores, free, besides=1), memory_mib * MIB)
    assert started[20] == 70.0


@pytest.mark.parametrize("cores", [1, 2, 4])
@pytest.mark.parametrize("memory_mib", [700, 1300, 6000])
def test_a_big_job_in_a_stream_of_small_ones_that_never_ends_starts_after_as_many_as_its_size_says(cores, memory_mib):
    """They come faster than they are done, so that some always wait; 700 MiB hold no big job beside a small one."""
    jobs = [(0.0, *SMALL), (0.0, *BIG)] + [(0.4 * k, *SMALL) for k in range(600)]
    started = played(jobs, lambda free: Room(cores, free, besides=1), memory_mib * MIB)
    before_it = sum(started[number] < started[1] for number in range(len(jobs)))
    assert before_it <= 1 + 50 + cores


def test_where_places_are_kept_a_cluster_s_small_job_starts_at_once_and_no_big_one_takes_them():
    jobs = [(0.0, *BIG) for _ in range(20)] + [(10.0, *SMALL)]
    started = played(jobs, lambda free: Room(8, free, kept=2), 10**15)
    assert started[20] == 10.0
    assert Counter(started.values())[0.0] == 6


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.floats(0, 300), st.integers(0, 80_000_000), expected, st.floats(0.1, 100)),
        min_size=1,
        max_size=40,
    ).map(sorted),
    st.integers(1, 4),
    st.integers(400, 5000),
)
def test_every_job_of_any_day_starts(jobs, cores, memory_mib):
    started = played(jobs, lambda free: Room(cores, free, besides=1), memory_mib * MIB)
    assert all(started[number] >= job[0] for number, job in enumerate(jobs))
