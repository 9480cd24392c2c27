"""When a file is whole. The clock is passed in, so nobody waits."""

import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from service import quick

from verifier.bench.settle import Fingerprint, Stillness, fingerprint_of, why_not_readable

LIMITS = quick(settle_s=2.0, slow_settle_s=10.0)
FILE = Fingerprint(inode=7, size_bytes=1000, modified_ns=5, changed_ns=5)


def test_a_file_that_has_not_changed_for_two_seconds_is_still():
    still = Stillness(LIMITS)
    assert still.still_in_s("latch_lever.stl", FILE, now_s=100.0) == 2.0
    assert still.still_in_s("latch_lever.stl", FILE, now_s=101.5) == 0.5
    assert still.still_in_s("latch_lever.stl", FILE, now_s=102.0) == 0.0


def test_an_obj_is_given_ten_seconds():
    still = Stillness(LIMITS)
    assert still.still_in_s("pump_rocker.OBJ", FILE, now_s=0.0) == 10.0


@pytest.mark.parametrize("what", ["inode", "size_bytes", "modified_ns", "changed_ns"])
def test_any_change_starts_the_wait_anew(what):
    still = Stillness(LIMITS)
    still.still_in_s("latch_lever.stl", FILE, now_s=0.0)
    changed = replace(FILE, **{what: 99})
    assert still.still_in_s("latch_lever.stl", changed, now_s=1.9) == 2.0


@given(st.lists(st.tuples(st.floats(0.0, 3.0), st.integers(0, 2)), max_size=30))
def test_a_file_is_never_called_still_that_was_seen_to_change_within_two_seconds(looks):
    still, now_s, size_bytes, changed_s = Stillness(LIMITS), 0.0, 1, 0.0
    still.still_in_s("a.stl", replace(FILE, size_bytes=size_bytes), now_s)
    for pause_s, growth in looks:
        now_s += pause_s
        size_bytes += growth
        changed_s = now_s if growth else changed_s
        left_s = still.still_in_s("a.stl", replace(FILE, size_bytes=size_bytes), now_s)
        assert (left_s <= 0) == (changed_s + 2.0 - now_s <= 0)


def test_a_file_that_went_and_came_back_waits_anew():
    still = Stillness(LIMITS)
    still.still_in_s("latch_lever.stl", FILE, now_s=0.0)
    still.keep_only(set())
    assert still.still_in_s("latch_lever.stl", FILE, now_s=5.0) == 2.0


def test_times_a_day_ahead_make_no_difference(tmp_path):
    """A copy keeps the time of a camera's or a scanner's clock that is wrong."""
    file = tmp_path / "latch_lever.stl"
    file.write_text("x")
    ahead = file.stat().st_mtime + 86400
    os.utime(file, (ahead, ahead))
    still = Stillness(LIMITS)
    still.still_in_s(file.name, fingerprint_of(file.lstat()), now_s=0.0)
    assert still.still_in_s(file.name, fingerprint_of(file.lstat()), now_s=2.0) == 0.0


def test_a_closed_file_may_be_read(tmp_path):
    (tmp_path / "a.stl").write_text("x")
    assert why_not_readable(tmp_path / "a.stl") is None


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells of writers")
def test_a_file_that_somebody_has_open_for_writing_is_left(tmp_path):
    with (tmp_path / "a.stl").open("w"):
        assert "open for writing" in why_not_readable(tmp_path / "a.stl")


def test_a_file_that_somebody_only_reads_is_taken(tmp_path):
    (tmp_path / "a.stl").write_text("x")
    with (tmp_path / "a.stl").open():
        assert why_not_readable(tmp_path / "a.stl") is None


@pytest.mark.skipif(
    not hasattr(os, "mkfifo"), reason="Windows has no pipes among its files, and links only by privilege"
)
def test_links_and_pipes_are_never_waited_for(tmp_path):
    (tmp_path / "a.stl").write_text("x")
    (tmp_path / "link.stl").symlink_to(tmp_path / "a.stl")
    os.mkfifo(tmp_path / "pipe.stl")
    assert "cannot be opened" in why_not_readable(tmp_path / "link.stl")
    assert why_not_readable(tmp_path / "pipe.stl") == "it is no file"


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="Windows has no mode bit that takes reading away")
def test_a_file_without_permission_says_so():
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o755)
        file = Path(folder) / "a.stl"
        file.write_text("x")
        file.chmod(0o000)
        root = os.geteuid() == 0
        if root:  # root may read everything, so somebody else asks
            os.seteuid(65534)
        try:
            assert "no permission" in why_not_readable(file)
        finally:
            if root:
                os.seteuid(0)
