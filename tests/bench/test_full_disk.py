"""A disk that fills up at any moment: no job is blamed, nothing half is shown, and all goes on once there is room."""

import contextlib
import tempfile
from pathlib import Path

import pytest
from service import (
    digest,
    drop,
    files_below,
    make_bench,
    mesh_is_whole_and_beside_its_report,
    nothing_is_left_in_hand,
    quick,
    results_of,
    rows,
    serve_until_idle,
    serving,
    until,
)
from small_disk import FullAfter, fill, may_mount, mounted

from verifier.bench import Notice, Ready
from verifier.boot.systemd import NOT_RESTARTED
from verifier.errors import LedgerCannotWrite

SCANS = {"latch_lever": "PASS\none", "fence_clip": "FAIL\ntwo", "pump_rocker": "REFUSED\nthree"}


def drop_all(bench):
    for part, content in SCANS.items():
        drop(bench, f"{part}.off", content)


def assert_all_came_out_once(bench):
    assert nothing_is_left_in_hand(bench)
    assert {row["part"]: row["verdict"] for row in rows(bench)} == {
        "latch_lever": "PASS",
        "fence_clip": "FAIL",
        "pump_rocker": "REFUSED",
    }
    assert {(row["state"], row["failures"]) for row in rows(bench)} == {("done", 0)}
    assert sorted(scan for scan, _ in results_of(bench)) == sorted(map(digest, SCANS.values()))
    assert len(files_below(bench.originals)) == len(SCANS)
    assert all(mesh_is_whole_and_beside_its_report(mesh) for mesh in bench.slicer.glob("*.3mf"))


def serve_as_far_as_it_goes(bench):
    """With no room for a single entry the service does not start, and says so."""
    with contextlib.suppress(LedgerCannotWrite):
        serve_until_idle(bench, limits=quick(least_free_bytes=0))


# The three scans take 89 syncs and journal entries here: some of the places, and the way through without a fault.
@pytest.mark.parametrize("writes", range(0, 100, 9))
def test_after_a_full_disk_at_any_write_everything_comes_out_once(bench, monkeypatch, writes):
    drop_all(bench)
    disk = FullAfter(monkeypatch, writes)
    serve_as_far_as_it_goes(bench)
    disk.make_room()
    serve_until_idle(bench)
    assert_all_came_out_once(bench)


def test_a_start_on_a_disk_without_any_room_ends_in_a_sentence_and_a_status_that_is_tried_again(bench, monkeypatch):
    FullAfter(monkeypatch, 0)
    with pytest.raises(LedgerCannotWrite, match="disk is full") as stopped:
        serve_until_idle(bench)
    assert stopped.value.exit_code == 74 not in NOT_RESTARTED


def test_a_service_that_ran_into_a_full_disk_goes_on_by_itself_and_says_so_once(bench, monkeypatch):
    disk = FullAfter(monkeypatch, 12)
    with serving(bench) as events:
        drop_all(bench)
        until(lambda: any("Nothing can be written" in event.text for event in events if isinstance(event, Notice)))
        until(lambda: disk.left < -20)  # it has tried again and again
        disk.make_room()
        until(lambda: len(rows(bench)) == 3 and {row["state"] for row in rows(bench)} == {"done"})
    assert_all_came_out_once(bench)
    assert {row["interruptions"] for row in rows(bench)} == {0}
    assert len([event for event in events if isinstance(event, Ready)]) == 1
    assert len([event for event in events if isinstance(event, Notice) and "Nothing can" in event.text]) == 1


@pytest.mark.parametrize("left_bytes", [0, 8_000, 60_000, 150_000, 300_000])
def test_a_real_small_disk_shows_nothing_half_and_goes_on_with_room(quick_place, monkeypatch, left_bytes):
    """A file system of 2 MB in memory; where none may be mounted, the stand-in fills up at as many places."""
    with contextlib.ExitStack() as stack:
        place = Path(tempfile.mkdtemp(dir=quick_place))
        if may_mount():
            stack.enter_context(mounted(place, "size=2m"))
        bench = make_bench(place)
        drop_all(bench)
        if may_mount():
            make_room = fill(bench.root, left_bytes).unlink
        else:
            make_room = FullAfter(monkeypatch, left_bytes // 4000).make_room
        serve_as_far_as_it_goes(bench)
        assert all(mesh_is_whole_and_beside_its_report(mesh) for mesh in bench.slicer.glob("[!.]*.3mf"))
        make_room()
        serve_until_idle(bench, limits=quick(least_free_bytes=0))
        assert_all_came_out_once(bench)
