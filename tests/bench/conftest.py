"""The stub compute functions are imported by name, here and in the worker processes."""

import sys
from pathlib import Path

import pytest
from service import make_bench

from verifier.bench import Bench

if str(Path(__file__).parent) not in sys.path:
    sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return make_bench(tmp_path)
