"""Seconds to rebuild three bores: `pytest tests/benchmarks/bench_bores.py --benchmark-only`.

Measured on one core: 0.5 s of processor time at 1.17 M triangles; one cut by a boolean of the whole part took 2.3 s at
0.63 M, and a bore wants two or three of them (fill, cut, mark).
"""

import pytest

from inbox_demo import simulated
from tests.correcting.bored import UNCORRECTED, again, bored

USES = {
    "pivot": {"use": "insert", "screw": "M6"},
    "long end": {"use": "threads", "screw": "M5"},
    "short end": {"use": "drill"},
}


@pytest.mark.parametrize("spacing_mm", [0.45, 0.145], ids=["120k", "1170k"])
def test_three_bores_of_a_rocker(benchmark, spacing_mm):
    part = bored(simulated.pump_rocker(), USES, spacing_mm=spacing_mm)
    work = benchmark.pedantic(again, args=(part, part.before, UNCORRECTED), rounds=3, iterations=1)
    benchmark.extra_info["triangles"] = len(part.before.mesh.faces)
    assert all(bore.made for bore in work.bores)
