"""What systemd is told, through a real datagram socket. Messages: sd_notify(3)."""

import socket
import tempfile
from pathlib import Path

import pytest

from verifier.readiness import Readiness


@pytest.fixture
def line():
    """A socket as systemd keeps one; its path is short, since a socket's path has 108 bytes at most (unix(7))."""
    with tempfile.TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(f"{folder}/notify")
        ear.settimeout(5.0)
        yield ear


def heard(ear):
    ear.setblocking(False)
    told = []
    while True:
        try:
            told.append(ear.recv(100).decode())
        except BlockingIOError:
            return told


def test_ready_and_stopping_are_told_once(line):
    readiness = Readiness(line.getsockname(), watchdog_s=0.0)
    readiness.ready()
    readiness.looked()
    readiness.stopping()
    assert heard(line) == ["READY=1", "STOPPING=1"]


def test_the_watchdog_hears_of_completed_looks_at_half_its_interval(line):
    now = [100.0]
    readiness = Readiness(line.getsockname(), watchdog_s=60.0, clock=lambda: now[0])
    for now[0] in (100.0, 105.0, 129.9, 130.0, 135.0, 161.0):
        readiness.looked()
        if heard(line):
            assert now[0] in (100.0, 130.0, 161.0)
        else:
            assert now[0] in (105.0, 129.9, 135.0)


def test_a_service_that_completes_no_look_is_silent(line):
    Readiness(line.getsockname(), watchdog_s=0.001).ready()
    assert heard(line) == ["READY=1"]


def test_the_abstract_name_space_is_written_with_an_at_sign():
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind("")  # the system gives an abstract name (unix(7), autobind)
        Readiness("@" + ear.getsockname()[1:].decode(), 0.0).ready()
        assert heard(ear) == ["READY=1"]


def test_the_variables_are_taken_out_so_that_workers_do_not_speak(line):
    environment = {"NOTIFY_SOCKET": line.getsockname(), "WATCHDOG_USEC": "60000000", "HOME": "/"}
    Readiness.from_environment(environment).looked()
    assert heard(line) == ["WATCHDOG=1"]
    assert environment == {"HOME": "/"}


def test_a_watchdog_meant_for_another_process_is_not_fed(line):
    environment = {"NOTIFY_SOCKET": line.getsockname(), "WATCHDOG_USEC": "60000000", "WATCHDOG_PID": "1"}
    Readiness.from_environment(environment).looked()
    assert heard(line) == []


def test_without_systemd_nothing_is_sent_and_nothing_fails(tmp_path: Path):
    Readiness.from_environment({}).ready()
    Readiness(str(tmp_path / "nobody"), 0.0).ready()
