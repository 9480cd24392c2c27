"""A file is opened without waiting, followed nowhere, read once, and hashed as it was read."""

import hashlib
import os
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.errors import CannotOpen, TooLarge, Truncated
from verifier.reading import file_bytes
from verifier.reading.file_bytes import printable, take_bytes

posix_only = pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such files")


def test_the_hash_is_of_the_bytes_that_were_read(dropped):
    data = os.urandom(70_000)
    taken = take_bytes(dropped(data), 100_000)
    assert taken.data == data
    assert taken.sha256 == hashlib.sha256(data).hexdigest()


@posix_only
def test_a_pipe_is_refused_without_waiting_for_its_other_end(tmp_path):
    os.mkfifo(tmp_path / "latch_lever.stl")
    with pytest.raises(CannotOpen, match="pipe"):
        take_bytes(tmp_path / "latch_lever.stl", 1000)


@posix_only
def test_a_device_is_refused():
    with pytest.raises(CannotOpen, match="device"):
        take_bytes(file_bytes.Path("/dev/zero"), 1000)


@posix_only
@pytest.mark.parametrize("target", ["there.stl", "nowhere.stl", "latch_lever.stl"], ids=["file", "nothing", "itself"])
def test_a_link_is_not_followed(tmp_path, target):
    (tmp_path / "there.stl").write_bytes(b"x" * 100)
    (tmp_path / "latch_lever.stl").symlink_to(tmp_path / target)
    with pytest.raises(CannotOpen, match="link"):
        take_bytes(tmp_path / "latch_lever.stl", 1000)


def test_a_link_is_not_followed_where_the_system_cannot_be_told_so(tmp_path, monkeypatch):
    """As on Windows, where opening has no such flag."""
    monkeypatch.delattr(os, "O_NOFOLLOW", raising=False)
    monkeypatch.setattr(file_bytes.Path, "is_symlink", lambda _: True)
    (tmp_path / "latch_lever.stl").write_bytes(b"x")
    with pytest.raises(CannotOpen, match="link"):
        take_bytes(tmp_path / "latch_lever.stl", 1000)


def test_a_folder_is_refused(tmp_path):
    with pytest.raises(CannotOpen, match="folder"):
        take_bytes(tmp_path, 1000)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(CannotOpen, match="no such file"):
        take_bytes(tmp_path / "latch_lever.stl", 1000)


def test_a_name_that_no_file_can_have_is_refused(tmp_path):
    with pytest.raises(CannotOpen):
        take_bytes(tmp_path / "latch\0lever.stl", 1000)


@pytest.mark.parametrize(("error", "said"), [(PermissionError(13, "denied"), "permission"), (OSError(5, "I/O"), "I/O")])
def test_what_the_system_refuses_is_said(dropped, monkeypatch, error, said):
    path = dropped(b"x")

    def refuse(*_):
        raise error

    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(CannotOpen, match=said):
        take_bytes(path, 1000)


def test_an_empty_file_is_refused(dropped):
    with pytest.raises(Truncated, match="0 bytes"):
        take_bytes(dropped(b""), 1000)


def test_a_file_one_byte_over_the_limit_is_refused_and_one_at_the_limit_is_read(dropped):
    path = dropped(b"x" * 1000)
    assert len(take_bytes(path, 1000).data) == 1000
    with pytest.raises(TooLarge, match=r"1,000 bytes and the limit is 999"):
        take_bytes(path, 999)


@posix_only
def test_a_file_with_holes_is_refused_before_its_nothing_is_read(tmp_path):
    path = tmp_path / "latch_lever.stl"
    with path.open("wb") as file:
        file.write(b"x" * 4096)
        file.truncate(1 << 33)
    with pytest.raises(Truncated, match="holes"):
        take_bytes(path, 1 << 34)


def test_a_file_that_grows_while_it_is_read_is_refused(dropped, monkeypatch):
    path = dropped(b"x" * 1000)
    facts = path.stat()
    path.write_bytes(b"x" * 1001)
    monkeypatch.setattr(os, "fstat", lambda _: facts)
    with pytest.raises(Truncated, match="changed"):
        take_bytes(path, 2000)


@given(st.text(max_size=50))
def test_any_name_can_be_printed_and_encoded(name):
    safe = printable(name)
    assert safe.isprintable()
    assert len(safe) == len(name)
    safe.encode("utf-8")


def test_a_name_that_would_colour_the_terminal_or_turn_the_line_round_loses_its_power():
    assert printable("\x1b[31mlever\u202e.stl\udcff") == "\ufffd[31mlever\ufffd.stl\ufffd"
