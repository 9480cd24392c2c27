"""Folders that may not be written to: a clear sentence, once, and everything goes on when the right is given."""

import contextlib

import pytest
from service import drop, files_below, nothing_is_left_in_hand, rows, serve_until_idle, serving, until
from small_disk import obeying_rights

from verifier.bench import Finished, Notice
from verifier.errors import WrongUsage


def notices_of(events, words):
    return [event.text for event in events if isinstance(event, Notice) and words in event.text]


@contextlib.contextmanager
def read_only(folder):
    folder.chmod(0o555)
    try:
        yield
    finally:
        folder.chmod(0o755)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("inbox", "PASS\n", "latch_lever.off stays in the inbox: it cannot be taken out: Permission denied"),
        ("slicer", "PASS\n", "The result of latch_lever cannot be put in its place yet: Permission denied"),
        ("held", "FAIL\n", "The result of latch_lever cannot be put in its place yet: Permission denied"),
        ("originals", "PASS\n", "The result of latch_lever cannot be put in its place yet: Permission denied"),
    ],
)
def test_a_folder_without_the_right_to_write_is_named_once_and_tried_again(bench, name, content, words):
    drop(bench, "latch_lever.off", content)
    with obeying_rights(), serving(bench) as events:
        with read_only(bench.root / name):
            until(lambda: notices_of(events, words))
            looks = bench.pulse.stat().st_mtime_ns
            until(lambda: bench.pulse.stat().st_mtime_ns > looks)
            assert not [event for event in events if isinstance(event, Finished)]
        until(lambda: [event for event in events if isinstance(event, Finished)])
    assert len(notices_of(events, words)) == 1
    assert [(row["state"], row["failures"]) for row in rows(bench) if row["state"] != "claiming"] == [("done", 0)]
    assert nothing_is_left_in_hand(bench)
    assert len(files_below(bench.originals)) == 1


def test_a_bench_that_may_not_be_written_to_is_refused_in_a_sentence(bench):
    with obeying_rights():
        bench.lock.touch()
        bench.lock.chmod(0o444)
        with pytest.raises(WrongUsage, match=r"cannot be written to \(Permission denied\).*Give yourself the right"):
            serve_until_idle(bench)


def test_a_ledger_that_may_not_be_written_to_is_refused_in_a_sentence(bench):
    serve_until_idle(bench)
    with obeying_rights():
        bench.ledger.chmod(0o444)
        with pytest.raises(WrongUsage, match=r"ledger\.db: attempt to write a readonly database.*let the file be"):
            serve_until_idle(bench)
