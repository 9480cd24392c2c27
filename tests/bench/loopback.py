"""A scheduler and its workers as processes on this machine's loopback, to be killed and started again."""

import os
import signal
import socket
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


class Loopback:
    """One scheduler and some workers with one thread each."""

    def __init__(self, workers: int) -> None:
        self._port = free_port()
        self.address = f"tcp://127.0.0.1:{self._port}"
        self._scheduler: subprocess.Popen[bytes] | None = None
        self._workers: list[subprocess.Popen[bytes]] = []
        self.start_scheduler()
        for _ in range(workers):
            self.start_worker()

    def start_scheduler(self) -> None:
        self._scheduler = _dask("scheduler", "--host", "127.0.0.1", "--port", str(self._port), "--no-show")

    def start_worker(self) -> None:
        self._workers.append(_dask("worker", self.address, "--nthreads", "1", "--no-nanny"))

    def kill_scheduler(self) -> None:
        assert self._scheduler is not None
        _kill(self._scheduler)

    def kill_worker(self) -> None:
        _kill(self._workers.pop(0))

    def close(self) -> None:
        for process in [self._scheduler, *self._workers]:
            if process is not None:
                _kill(process)


def _dask(*words: str) -> "subprocess.Popen[bytes]":
    environment = {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(HERE), os.environ.get("PYTHONPATH", "")]),
        "DASK_DISTRIBUTED__DASHBOARD__ENABLED": "False",
    }
    command = [sys.executable, "-m", "dask", *words, "--no-dashboard"]
    return subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _kill(process: "subprocess.Popen[bytes]") -> None:
    process.send_signal(getattr(signal, "SIGKILL", signal.SIGTERM))
    process.wait()
