"""Benches to try the service on, in memory where there is a place for files: it is killed here, the power stays on.

Tests marked `repeated` run once; FAULT_TIMES=10 in the environment runs each of them ten times.
"""

import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from service import make_bench

from verifier.bench import Bench

IN_MEMORY = Path("/dev/shm")

# The stub compute functions are imported by name, here and in the worker processes.
if str(Path(__file__).parent) not in sys.path:
    sys.path.insert(0, str(Path(__file__).parent))


def pytest_configure(config: pytest.Config) -> None:
    config.addinivalue_line("markers", "repeated: run as often as FAULT_TIMES says")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if metafunc.definition.get_closest_marker("repeated"):
        metafunc.fixturenames.append("time_of_it")
        metafunc.parametrize("time_of_it", range(int(os.environ.get("FAULT_TIMES", "1"))))


@pytest.fixture(scope="session")
def quick_place() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="bench-tests-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as folder:
        yield Path(folder)


@pytest.fixture
def bench(quick_place: Path) -> Bench:
    return make_bench(Path(tempfile.mkdtemp(dir=quick_place)))
