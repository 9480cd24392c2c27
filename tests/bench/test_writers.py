"""Exports that are still being written, in seven ways and four formats at once: each is taken once, and whole."""

import hashlib
import os
import threading
import time

import pytest
from service import nothing_is_left_in_hand, quick, rows, serving, until
from test_endings import WHOLE

from verifier.bench import Finished, Notice, Ready

CONTENTS = {
    "stl": WHOLE["binary.stl"],
    "3mf": WHOLE["archive.3mf"],
    "ply": WHOLE["binary.ply"],
    "obj": b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n",
}
# Longer than a still file needs, far shorter than the long wait of one whose end is missing, or cannot be told.
LIMITS = quick(settle_s=0.3, slow_settle_s=3.0)
PAUSE_S = 0.7


def slowly(path, data):
    """One program, kept open."""
    with path.open("wb") as file:
        for start in range(0, len(data), 1 + len(data) // 3):
            file.write(data[start : start + 1 + len(data) // 3])
            file.flush()
            time.sleep(PAUSE_S)


def in_two_goes(path, data):
    """Closed half-way and opened again."""
    path.write_bytes(data[: len(data) // 2])
    time.sleep(PAUSE_S)
    with path.open("ab") as file:
        file.write(data[len(data) // 2 :])


def under_another_name(path, data):
    """A hidden name, then the real one."""
    beside = path.with_name(f".{path.name}.part")
    in_two_goes(beside, data)
    beside.rename(path)


def at_full_length_from_the_start(path, data):
    """As a copy does that asks for the room first."""
    with path.open("wb") as file:
        file.truncate(len(data))
        time.sleep(PAUSE_S)
        file.write(data)


def from_the_end(path, data):
    """The end first, as some archives are written."""
    with path.open("wb") as file:
        file.seek(len(data) // 2)
        file.write(data[len(data) // 2 :])
        file.flush()
        time.sleep(PAUSE_S)
        file.seek(0)
        file.write(data[: len(data) // 2])


def over_an_earlier_one(path, data):
    """An older export of another length is overwritten in place before it was taken."""
    with path.open("wb") as file:
        file.write(data + b"older and longer")
        file.flush()
        time.sleep(PAUSE_S)
        file.seek(0)
        file.truncate()
        file.write(data)


def as_a_link_from_elsewhere(path, data):
    """Written outside while the inbox has the name already: no event tells of the end."""
    outside = path.parent.parent / f"outside_{path.name}"
    with outside.open("wb") as file:
        os.link(outside, path)
        file.write(data[: len(data) // 2])
        file.flush()
        time.sleep(PAUSE_S)
        file.write(data[len(data) // 2 :])
    outside.unlink()


WAYS = (
    slowly,
    in_two_goes,
    under_another_name,
    at_full_length_from_the_start,
    from_the_end,
    over_an_earlier_one,
    as_a_link_from_elsewhere,
)


def test_no_writer_has_its_file_taken_early(bench):
    writers = [
        threading.Thread(target=way, args=(bench.inbox / f"{way.__name__}.{ending}", data))
        for way in WAYS
        for ending, data in CONTENTS.items()
    ]
    with serving(bench, limits=LIMITS) as events:
        until(lambda: any(isinstance(event, Ready) for event in events))
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join()
        until(lambda: sum(isinstance(event, Finished) for event in events) == len(writers), seconds=30.0)
    wanted = {
        f"{way.__name__}.{ending}": hashlib.sha256(data).hexdigest()
        for way in WAYS
        for ending, data in CONTENTS.items()
    }
    assert {row["scan_name"]: row["sha256"] for row in rows(bench)} == wanted
    assert len(rows(bench)) == len(WAYS) * len(CONTENTS) == 28
    assert {row["attempt"] for row in rows(bench)} == {1}
    assert nothing_is_left_in_hand(bench)


@pytest.mark.parametrize("ending", list(CONTENTS))
def test_a_file_whose_writer_never_ends_is_mentioned_and_stays(bench, ending):
    path = bench.inbox / f"latch_lever.{ending}"
    with serving(bench, limits=quick(overdue_s=0.2)) as events, path.open("wb") as file:
        file.write(CONTENTS[ending][:20])
        file.flush()
        until(lambda: any("has waited for" in event.text for event in events if isinstance(event, Notice)))
        assert path.exists()
        assert rows(bench) == []
        path.unlink()  # else it is taken the moment it is closed
