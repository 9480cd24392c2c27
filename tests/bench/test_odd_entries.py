"""What is no plain file with a plain name: processed, or left with its reason, and never waited for."""

import contextlib
import os
import socket
import time
from datetime import UTC, datetime, timedelta

import pytest
from service import drop, files_below, nothing_is_left_in_hand, quick, rows, serve_until_idle, serving, until
from small_disk import may_mount, mounted

from verifier.bench import Claimed, Finished, Notice, Ready
from verifier.bench.inbox import Kind, look_into


def of_kind(events, kind):
    return [event for event in events if isinstance(event, kind)]


@contextlib.contextmanager
def everything_odd(inbox, elsewhere):
    """Ten things that are neither a file nor a folder of files, and how each is called."""
    (elsewhere / "scan.off").write_text("PASS\n")
    (inbox / "folder.off").mkdir()
    (inbox / "empty_folder").mkdir()
    (inbox / "full_folder").mkdir()
    (inbox / "full_folder" / "scan.off").write_text("PASS\n")
    os.mkfifo(inbox / "full_folder" / "pipe.off")
    (inbox / "link.off").symlink_to(elsewhere / "scan.off")
    (inbox / "dangling.off").symlink_to(elsewhere / "nothing")
    (inbox / "circle.off").symlink_to(inbox / "circle.off")
    (inbox / "folder_link").symlink_to(elsewhere)
    (inbox / "device_link.off").symlink_to("/dev/zero")
    os.mkfifo(inbox / "pipe.off")
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        here = os.open(inbox, os.O_RDONLY)  # a socket's path is short at most (unix(7)), a bench's may be long
        line.bind(f"/proc/self/fd/{here}/socket.off" if os.path.isdir("/proc/self/fd") else str(inbox / "socket.off"))  # noqa: PTH112
        os.close(here)
        yield


def test_whatever_is_no_file_stays_with_its_reason_and_files_beside_it_are_served(bench, tmp_path):
    with everything_odd(bench.inbox, tmp_path):
        kinds = {entry.name: entry.kind for entry in look_into(bench.inbox)}
        drop(bench, "latch_lever.off")
        events = serve_until_idle(bench)
    assert len(kinds) == 10
    assert {name for name, kind in kinds.items() if kind is Kind.LINK} == {
        "link.off",
        "dangling.off",
        "circle.off",
        "folder_link",
        "device_link.off",
    }
    assert {name for name, kind in kinds.items() if kind is Kind.SPECIAL} == {"pipe.off", "socket.off"}
    assert len(of_kind(events, Notice)) == 10
    assert [event.part for event in of_kind(events, Finished)] == ["latch_lever"]
    assert len(list(bench.inbox.iterdir())) == 10


def test_a_file_swapped_for_a_link_after_it_was_seen_is_not_followed(bench, tmp_path, monkeypatch):
    """Someone who may write into the inbox must not have a file of the service's reach read."""
    secret = tmp_path / "secret.off"
    secret.write_text("PASS\nsecret")
    drop(bench, "latch_lever.off")

    def swap(path):
        path.unlink()
        path.symlink_to(secret)

    monkeypatch.setattr("verifier.bench.intake.why_not_readable", swap)
    serve_until_idle(bench)
    assert rows(bench) == []
    assert (bench.inbox / "latch_lever.off").is_symlink()
    assert secret.read_text() == "PASS\nsecret"


def test_names_that_differ_in_case_only_are_two_parts(bench):
    for name in ("latch_lever.off", "Latch_Lever.off"):
        drop(bench, name, f"PASS\n{name}")
    serve_until_idle(bench)
    assert {row["part"] for row in rows(bench)} == {"latch_lever", "Latch_Lever"}
    assert {row["state"] for row in rows(bench)} == {"done"}


def test_names_of_windows_devices_are_altered_so_that_a_bench_can_be_carried_there(bench):
    for name in ("CON.off", "nul", "com1.stl.off"):
        drop(bench, name)
    serve_until_idle(bench)
    assert all("-" in row["part"] for row in rows(bench))
    assert len({row["part"] for row in rows(bench)}) == 3


@pytest.mark.parametrize("days", [-1, 1])
@pytest.mark.parametrize("of", ["the file", "the machine"])
def test_a_clock_a_day_off_changes_no_wait_and_no_order(bench, monkeypatch, days, of):
    """The file's times are off as from a scanner with a wrong clock; or the machine's clock jumps between two looks."""
    drop(bench, "latch_lever.off", "PASS\none")
    if of == "the file":
        off = time.time() + 86400 * days
        os.utime(bench.inbox / "latch_lever.off", (off, off))
    with serving(bench) as events:
        until(lambda: of_kind(events, Claimed))
        if of == "the machine":
            jumped = lambda: (datetime.now(UTC) + timedelta(days=days)).isoformat(timespec="milliseconds")  # noqa: E731
            monkeypatch.setattr("verifier.bench.journal.utc_now", jumped)
            monkeypatch.setattr("verifier.bench.pulse.utc_now", jumped)
            whole = time.time
            monkeypatch.setattr(time, "time", lambda: whole() + 86400 * days)
        drop(bench, "latch_lever.off", "PASS\ntwo")
        until(lambda: len(of_kind(events, Finished)) == 2, seconds=5.0)
    assert [event.job for event in of_kind(events, Finished)] == [1, 2]
    assert {(row["state"], row["attempt"]) for row in rows(bench)} == {("done", 1)}


def test_an_inbox_that_another_disk_is_mounted_over_is_seen_and_said_and_both_are_served(bench):
    """Files on the other disk cannot be moved in one step, so they stay, with the reason; the rest goes on after it."""
    with serving(bench) as events:
        until(lambda: of_kind(events, Ready))
        with contextlib.ExitStack() as stack:
            if may_mount():
                stack.enter_context(mounted(bench.inbox, "size=1m"))
                why = "cannot be taken out: Invalid cross-device link"
            else:
                bench.inbox.rename(bench.root / "under")
                stack.callback((bench.root / "under").rename, bench.inbox)
                why = "The inbox cannot be read"
                stack.callback(lambda: bench.inbox.exists() and bench.inbox.rmdir())
            if bench.inbox.exists():
                (bench.inbox / "fence_clip.off").write_text("PASS\n")
            until(lambda: any(why in event.text for event in of_kind(events, Notice)))
        drop(bench, "latch_lever.off")
        until(lambda: of_kind(events, Finished))
    assert [event.part for event in of_kind(events, Finished)] == ["latch_lever"]
    assert [row["state"] for row in rows(bench)] == ["done"]
    assert nothing_is_left_in_hand(bench)


@pytest.mark.parametrize("round_", range(5))
@pytest.mark.parametrize("deed", ["replaced", "deleted", "grown", "emptied"])
def test_a_file_replaced_or_deleted_around_its_claim_gives_one_whole_result_or_none(bench, monkeypatch, deed, round_):
    """The deed falls after the file was found whole and before it is moved."""
    deeds = {
        "replaced": lambda path: drop(bench, path.name, f"PASS\nnew {round_}"),
        "deleted": lambda path: path.unlink(),
        "grown": lambda path: path.write_text("PASS\nold and more"),
        "emptied": lambda path: path.write_text(""),
    }
    once = iter([deeds[deed]])
    monkeypatch.setattr(
        "verifier.bench.intake.why_not_readable", lambda path: next(once, lambda _: None)(path) and None
    )
    drop(bench, "latch_lever.off", "PASS\nold")
    serve_until_idle(bench, limits=quick(settle_s=0.02 * round_))
    told = [(bench.originals / name).read_text() for name in files_below(bench.originals)]
    wanted = {"replaced": [f"PASS\nnew {round_}"], "deleted": [], "grown": ["PASS\nold and more"], "emptied": [""]}
    assert told == wanted[deed]
    assert len(rows(bench)) == len(told)
    assert nothing_is_left_in_hand(bench)
