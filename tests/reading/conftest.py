"""Fixtures of the reading tests."""

import pytest


@pytest.fixture
def dropped(tmp_path):
    """Put bytes into a file; returns its path."""

    def drop(data, name="latch_lever.stl"):
        path = tmp_path / name
        path.write_bytes(data)
        return path

    return drop
