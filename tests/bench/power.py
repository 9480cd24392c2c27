"""A power cut: what was not synced when the service died is taken back from the real folders.

The model: a name that came or went is sure once its folder has been synced after that; until then it may not have
happened, the latest first. So a renamed thing may be in its old place, in both, or, when only the old folder was
synced, in none. A file's bytes are sure once the file has been synced; until then the file may be empty. The ledger is
SQLite's own business (synchronous=FULL).
"""

import json
import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

from verifier.bench import Bench, open_bench

# What a person's own programs wrote, and what nobody relies on.
NOT_OURS = ("ledger.db", "ledger.db-wal", "ledger.db-shm", "lock", "now.json", "now.part")


class Recorder:
    """Sits between the service and the system in the service's own process; tells what is not synced at its end."""

    def __init__(self, bench: Bench, record: Path, left_out: str = "", time_of_it: int = 1) -> None:
        self._bench, self._record, self._left_out, self._times_left = bench, record, left_out, time_of_it
        self._kept = record.with_suffix(".kept")
        self._kept.mkdir()
        self._undone: list[dict[str, Any]] = []
        self._synced: set[int] = set()
        self._entered: set[str] = set()
        self._places: set[str] = set()
        self._dropped = [file.stat().st_ino for file in bench.inbox.iterdir()]
        self._old = [file.stat().st_ino for file in _files(bench)]
        self._fsync, self._kill = os.fsync, os.kill
        os.fsync, os.kill = self.fsync, self.kill
        for name in ("rename", "replace", "mkdir", "unlink", "rmdir"):
            setattr(os, name, self._watched(name, getattr(os, name)))

    def fsync(self, descriptor: int) -> None:
        place = _called_from()
        self._places.add(place)
        if self._left_out and place.startswith(self._left_out):
            return
        self._fsync(descriptor)
        path = os.readlink(f"/proc/self/fd/{descriptor}")  # noqa: PTH115
        if os.path.isdir(path):  # noqa: PTH112
            self._entered |= {f"{os.fstat(descriptor).st_ino}/{name}" for name in os.listdir(path)}  # noqa: PTH208
        else:
            self._synced.add(os.fstat(descriptor).st_ino)
        for step in self._undone:
            step["folders"] = [folder for folder in step["folders"] if folder != path]
        self._undone = [step for step in self._undone if step["folders"]]

    def kill(self, pid: int, number: int) -> None:
        if pid != os.getpid():
            return self._kill(pid, number)
        self._times_left -= 1
        if self._times_left > 0:
            return None
        told = {
            "undone": self._undone,
            "synced": sorted(self._synced),
            "entered": sorted(self._entered),
            "places": sorted(self._places),
            "dropped": self._dropped,
            "old": self._old,
        }
        self._record.write_text(json.dumps(told), encoding="utf-8")
        return self._kill(pid, number)

    def _watched(self, name: str, whole: Callable[..., None]) -> Callable[..., None]:
        def watched(*arguments: object, **others: object) -> None:
            paths = [_absolute(argument, others.get("dir_fd")) for argument in arguments if _is_path(argument)]
            # Taken before the step: afterwards a removed file is gone.
            kept = self._keep(paths[-1]) if name in ("replace", "unlink") else None
            whole(*arguments, **others)
            folders = sorted({str(path.parent) for path in paths})
            if all(self._bench.root in path.parents for path in paths):
                self._undone.append({"name": name, "paths": list(map(str, paths)), "kept": kept, "folders": folders})

        return watched

    def _keep(self, path: Path) -> str | None:
        if not path.is_file():
            return None
        copy = self._kept / str(len(list(self._kept.iterdir())))
        shutil.copyfile(path, copy)
        return str(copy)


def cut_power(bench: Bench, record: Path, lost: int | None = None) -> int:
    """Take back the last `lost` unsynced steps, all when None, and empty unsynced files; how many steps there were."""
    told = json.loads(record.read_text(encoding="utf-8"))
    sure = set(told["synced"]) | (set(told["old"]) - set(told["dropped"]))
    claimed = _is_claimed(bench)
    for file in _files(bench):
        dropped = file.stat().st_ino in told["dropped"]
        if file.stat().st_ino not in sure and (not dropped or claimed(file)):
            os.truncate(file, 0)
    steps = told["undone"]
    left = 0 if lost is None else max(0, len(steps) - lost)
    twice: set[Path] = set()  # in both places, and sure in the one they are copied from
    for step in reversed(steps[left:]):
        before = set(_files(bench))
        _take_back(step)
        twice |= set(_files(bench)) - before if _is_synced_move(step) else set()
    moved = {step["paths"][-1] for step in steps[:left]}
    for file in _files(bench):
        entry = f"{file.parent.stat().st_ino}/{file.name}"  # a folder keeps its entries when it is moved
        known = file.stat().st_ino in told["old"] or entry in told["entered"] or file in twice
        if not known and str(file) not in moved:
            file.unlink()
    return len(steps)


def _is_synced_move(step: dict[str, Any]) -> bool:
    return step["name"] in ("rename", "replace") and str(Path(step["paths"][-1]).parent) not in step["folders"]


def _take_back(step: dict[str, Any]) -> None:
    paths = [Path(path) for path in step["paths"]]
    if step["name"] in ("rename", "replace"):
        _take_back_rename(*paths, step["folders"])
    elif step["name"] == "mkdir":
        shutil.rmtree(paths[0], ignore_errors=True)
    elif step["name"] == "rmdir":
        paths[0].mkdir(parents=True, exist_ok=True)
    if step["kept"] and not paths[-1].exists() and paths[-1].parent.is_dir():
        shutil.copyfile(step["kept"], paths[-1])


def _take_back_rename(source: Path, target: Path, unsynced: list[str]) -> None:
    """Synced on one side only, the thing is in both places, or, the old place being the synced one, in none."""
    if not os.path.lexists(target):
        return
    if str(source.parent) not in unsynced:
        shutil.rmtree(target) if target.is_dir() else target.unlink()
    elif not source.parent.is_dir():
        return
    elif str(target.parent) in unsynced:
        target.rename(source)
    else:
        shutil.copytree(target, source) if target.is_dir() else os.link(target, source)


def _is_claimed(bench: Bench) -> Callable[[Path], bool]:
    """Whether a dropped file has been answered for: recorded as more than a claim."""
    with closing(sqlite3.connect(bench.ledger)) as db:
        rows = list(db.execute("SELECT id FROM jobs WHERE state <> 'claiming'"))
    folders = {bench.job_folder(number) for (number,) in rows}
    return lambda file: bench.originals in file.parents or any(folder in file.parents for folder in folders)


def _files(bench: Bench) -> list[Path]:
    return [file for file in bench.root.rglob("*") if file.is_file() and file.name not in NOT_OURS]


def _is_path(argument: object) -> bool:
    return isinstance(argument, str | bytes | os.PathLike)


def _absolute(argument: object, folder: object) -> Path:
    text = os.fsdecode(argument)  # type: ignore[arg-type]
    return Path(os.readlink(f"/proc/self/fd/{folder}") if isinstance(folder, int) else "/", text)  # noqa: PTH115


def _called_from() -> str:
    """The function that asked durable.py for the sync, what it asked for, and both lines: one place in the code."""
    frame = inner = sys._getframe(2)
    while frame.f_code.co_filename.endswith("durable.py") and frame.f_back:
        inner, frame = frame, frame.f_back
    asked = f"{Path(frame.f_code.co_filename).name}:{frame.f_code.co_name}:{inner.f_code.co_name}"
    return f"{asked}:{frame.f_lineno}:{inner.f_lineno}"


def serve_until_power_cut(
    root: Path, compute: str, crash_at: str, record: Path, left_out: str, time_of_it: int = 1
) -> None:
    """The service in a process of its own, watched; it dies when it comes to the crash point for the n-th time."""
    from service import serve_here

    assert hasattr(signal, "SIGKILL")
    Recorder(open_bench(root), record, left_out, time_of_it)
    serve_here(root, compute, crash_at, until_idle=True)
