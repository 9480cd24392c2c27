"""Benches to try the service on, in memory where there is a place for files: it is killed here, the power stays on."""

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


@pytest.fixture(scope="session")
def quick_place() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="bench-tests-", dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as folder:
        yield Path(folder)


@pytest.fixture
def bench(quick_place: Path) -> Bench:
    return make_bench(Path(tempfile.mkdtemp(dir=quick_place)))
