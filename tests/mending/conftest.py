"""The two parts, and the paths that let tests name their faults."""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import faults


@pytest.fixture(params=faults.PARTS, ids=lambda make: make.__name__)
def part(request: pytest.FixtureRequest) -> faults.Part:
    return request.param()
