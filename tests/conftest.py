"""What all tests share: where a skip is not allowed, it is a failure, and drawn examples are the same in every run.

Spread over several processes, no core of the machine is left waiting.
"""

import os
from pathlib import Path

import psutil
import pytest
from hypothesis import settings

import verifier  # noqa: F401  before numpy, whose number of threads it sets

# At the desk every run draws examples never seen before; where a red run blocks a change it must mean the change.
# Nothing is timed: on a busy machine any example may take long.
settings.register_profile("untimed", deadline=None)
settings.register_profile("the same in every run", derandomize=True, deadline=None)
settings.load_profile("untimed")
if os.environ.get("CI") or os.environ.get("VERIFIER_TESTS_MUST_NOT_SKIP"):
    settings.load_profile("the same in every run")

# Their files take longest: those of the bench wait for most of that time, the others compute.
WAITING, COMPUTING = ("bench",), ("tests", "mending", "finding", "measuring", "correcting", "joining")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than the machine has processors: about one is in a test that waits."""
    return 1 + (psutil.cpu_count() or 1)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """In a worker: what waits evenly among what computes, the short files last, so that all workers end together."""
    if not os.environ.get("PYTEST_XDIST_WORKER"):
        return
    files: dict[str, list[Path]] = {"waiting": [], "computing": [], "short": []}
    for file in dict.fromkeys(item.path for item in items):
        files[_how_it_runs(file)].append(file)
    turn = {file: k / len(of_kind) for of_kind in files.values() for k, file in enumerate(of_kind)}
    items.sort(key=lambda item: (_how_it_runs(item.path) == "short", turn[item.path]))


def _how_it_runs(file: Path) -> str:
    folder = file.parent.name
    return "waiting" if folder in WAITING else "computing" if folder in COMPUTING else "short"


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """A test that skips checks nothing; where everything is installed it must run."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("VERIFIER_TESTS_MUST_NOT_SKIP"):
        why = call.excinfo.value if call.excinfo else "no reason given"
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped where no test may be: {why}"
