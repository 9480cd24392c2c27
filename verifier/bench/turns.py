"""Whose turn it is: a pure choice among the jobs that wait.

Two promises that pull against each other. A small job is not stuck behind a big one: it goes past those that wait, and
where they have taken every place it runs beside them. A big one is not starved: its turn comes after a number of later
jobs that its size sets, and from then on nothing that it waits for is given to another.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from verifier.bench.memory import MIB

# A job on up to some 230,000 triangles, by bench/memory.py: five seconds of computing (tests/benchmarks/README.md).
SMALL_BYTES = 400 * MIB
# A job goes behind one later job for each of these. A million triangles are 50 of them as binary STL, and take some 15
# seconds: what goes first takes ten times as long at most, if it is small, on one core.
FILE_BYTES_A_PLACE = 1_000_000
# A job whose rules have changed yields to this many fresh ones: somebody stands waiting for those.
PLACES_OF_A_RERUN = 20


@dataclass(frozen=True, slots=True)
class Room:
    """What there is for jobs.

    places : jobs at a time
    besides : how many small ones may run beyond that, where big ones have taken every place
    kept : places that big ones leave to small ones
    free_bytes : memory that nothing under way has taken or is still expected to take
    """

    places: int
    free_bytes: int
    besides: int = 0
    kept: int = 0


def turn_of(number: int, size_bytes: int, *, rerun: bool = False) -> int:
    """Where a job stands in the line: the lowest goes first.

    number : of the newest job there is, when this one is queued; size_bytes : of its file
    A later job goes before this one only if it has one of the next size_bytes / FILE_BYTES_A_PLACE numbers.
    """
    return number + size_bytes // FILE_BYTES_A_PLACE + (PLACES_OF_A_RERUN if rerun else 0)


def next_to_start(waiting: Sequence[int], running: Sequence[int], room: Room) -> int | None:
    """Which of the waiting jobs starts now, as its place in the line; None when none may.

    waiting, running : memory each is expected to take, bytes; those that wait in the order of their turns
    The first in line is passed by small ones only, and only while a big one runs: it could not start before that ends.
    """
    a_big_one_runs = any(not is_small(each) for each in running)
    for place, expected_bytes in enumerate(waiting):
        passes = is_small(expected_bytes) and a_big_one_runs
        if (place == 0 or passes) and _has_room(expected_bytes, running, room):
            return place
    return None


def is_small(expected_bytes: int) -> bool:
    """Whether a job, by the memory it is expected to take, is over in seconds."""
    return expected_bytes <= SMALL_BYTES


def _has_room(expected_bytes: int, running: Sequence[int], room: Room) -> bool:
    small = [each for each in running if is_small(each)]
    if not running:
        return True  # however big it is, and however little is free: else it would never run
    if is_small(expected_bytes):
        places = room.places + (0 if small else room.besides)
        return len(running) < places and expected_bytes <= room.free_bytes
    # One small job has its memory beside the big ones, whenever it comes.
    for_a_small_one_bytes = SMALL_BYTES - max(small, default=0)
    places_left = min(room.places - len(running), room.places - room.kept - (len(running) - len(small)))
    return places_left > 0 and expected_bytes + for_a_small_one_bytes <= room.free_bytes
