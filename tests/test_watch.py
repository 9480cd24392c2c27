"""The command `watch`: the real service on a real bench, with the real work behind it."""

import contextlib
import hashlib
import importlib.util
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager

import pytest

from tests.whole import SHEETS, export
from verifier.bench import new_bench, status
from verifier.shipped import rules_folder

PATIENCE_S = 120.0


@pytest.fixture
def bench(tmp_path):
    """A fresh bench with the demo's sheets."""
    made = new_bench(tmp_path / "bench", rules_folder())
    shutil.copytree(SHEETS, made.rules / "sheets", dirs_exist_ok=True)
    return made


@contextmanager
def watching(bench, log):
    """The service as a person starts it; what it says goes to the log."""
    with log.open("ab") as said:
        words = [sys.executable, "-m", "verifier", "watch", str(bench.root)]
        service = subprocess.Popen(words, stdout=said, stderr=said)
        try:
            yield service
        finally:
            service.terminate()
            service.wait(timeout=30)


def wait_for(what, log):
    """Until it is so; the log is shown when patience ends."""
    deadline = time.monotonic() + PATIENCE_S
    while not what():
        assert time.monotonic() < deadline, log.read_text(encoding="utf-8", errors="replace")
        time.sleep(0.05)


def test_a_service_killed_in_the_middle_of_a_job_finishes_it_after_the_next_start(bench, tmp_path):
    log = tmp_path / "log.txt"
    scan = export("latch_lever.stl")
    with watching(bench, log) as service:
        shutil.copyfile(scan, bench.inbox / scan.name)
        wait_for(lambda: "latch_lever: finding" in log.read_text(encoding="utf-8"), log)
        service.kill()
        service.wait(timeout=30)
    assert not list(bench.slicer.iterdir())
    with watching(bench, log):
        wait_for(lambda: (bench.slicer / "latch_lever.3mf").exists() and not status(bench.root).in_hand, log)
    assert "Before you dust, print, drill or load the part" in log.read_text(encoding="utf-8")  # the screen's report
    done = status(bench.root).latest
    assert [job.verdict for job in done] == ["PASS"]
    assert {file.name for file in bench.slicer.iterdir()} == {
        f"latch_lever.{end}"
        for end in ("3mf", "report.json", "report.html", "report.txt", "picture-1.png", "picture-2.png")
    }
    (original,) = (bench.originals / "latch_lever").iterdir()
    assert hashlib.sha256(original.read_bytes()).digest() == hashlib.sha256(scan.read_bytes()).digest()


def test_saving_the_filled_sheet_lets_the_held_job_go_on_by_itself(bench, tmp_path):
    log = tmp_path / "log.txt"
    sheet = bench.rules / "sheets" / "seat_armrest.toml"
    with watching(bench, log):
        shutil.copyfile(export("seat_armrest.3mf"), bench.inbox / "seat_armrest.3mf")
        wait_for(lambda: (bench.held / "seat_armrest" / "seat_armrest.report.json").exists() and sheet.exists(), log)
        blank = sheet.read_text(encoding="utf-8")
        sheet.write_text(re.sub(r"# reading = .*on the scan ([\d.]+)", r"reading = \1", blank), encoding="utf-8")
        wait_for(lambda: (bench.slicer / "seat_armrest.3mf").exists(), log)
    assert not (bench.held / "seat_armrest").exists()
    assert (bench.slicer / "seat_armrest.report.json").exists()


@pytest.mark.skipif(importlib.util.find_spec("termios") is None, reason="Windows has no pair of terminals to open")
def test_on_a_terminal_a_picture_is_drawn_and_the_log_is_kept(bench):
    import pty  # here, since it cannot be imported on Windows

    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "verifier", "watch", str(bench.root)]
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100", "PYTHONUTF8": "1"}
    service = subprocess.Popen(words, stdout=theirs, stderr=theirs, env=environment)
    os.close(theirs)
    (bench.inbox / "gate.off").write_bytes(b"no mesh at all")
    seen, asked = b"", False
    try:
        with contextlib.suppress(OSError):  # Linux says so when the other end is closed
            while chunk := os.read(ours, 4096):
                seen += chunk
                if b"Came out: " in seen and not asked:
                    service.terminate()  # once: a second request while Python ends itself would end it by the signal
                    asked = True
        assert service.wait(timeout=30) == 0
    finally:
        service.kill()
        os.close(ours)
    told = seen.decode()
    assert "Watching " in told
    assert "Came out: 1 REFUSED" in told
    assert "\x1b[2K" in told  # erase the line (ECMA-48, EL): the picture is drawn over itself
    assert "Stopped." in told
    log = bench.log.read_text(encoding="utf-8").splitlines()
    assert any("Took gate.off as job 1 of gate" in line for line in log)
    assert log[-1].endswith("Stopped watching")


def test_in_a_pipe_there_are_plain_lines(bench, tmp_path):
    log = tmp_path / "log.txt"
    (bench.inbox / "gate.off").write_bytes(b"no mesh at all")
    with watching(bench, log):
        wait_for(lambda: "gate: REFUSED, report in" in log.read_text(encoding="utf-8"), log)
    assert "\x1b" not in log.read_text(encoding="utf-8")


@pytest.mark.skipif(
    not hasattr(socket, "AF_UNIX"), reason="systemd listens on a Unix socket, which Windows has none of"
)
def test_systemd_is_told_when_the_bench_is_watched_that_it_lives_and_that_it_ends(bench, tmp_path):
    with tempfile.TemporaryDirectory() as folder, socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as ear:
        ear.bind(f"{folder}/notify")
        ear.settimeout(60.0)
        environment = {**os.environ, "NOTIFY_SOCKET": f"{folder}/notify", "WATCHDOG_USEC": "200000"}
        words = [sys.executable, "-m", "verifier", "watch", str(bench.root)]
        service = subprocess.Popen(words, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            told = [ear.recv(100) for _ in range(3)]
            service.terminate()
            while told[-1] != b"STOPPING=1":
                told.append(ear.recv(100))
            assert service.wait(timeout=30) == 0
        finally:
            service.kill()
    assert told.count(b"READY=1") == told.count(b"STOPPING=1") == 1
    assert told.count(b"WATCHDOG=1") == len(told) - 2
