"""Seconds to find everything on a part: `pytest tests/benchmarks/bench_finding.py --benchmark-only`.

The part is the seat armrest, the finest net that makes about the number of triangles asked for.
"""

import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import extent_along, find_features
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Mesh


def _armrest(spacing_mm):
    scanned = sim.scan(sim.seat_armrest(), spacing_mm=spacing_mm, seed=3, white_mm=0.02, correlated_mm=0.02)
    origin = np.full(len(scanned.faces), Origin.MEASURED, dtype=np.uint8)
    return Solid(Mesh(scanned.vertices_mm, scanned.faces), origin)


@pytest.mark.parametrize("spacing_mm", [0.8, 0.4, 0.25, 0.177], ids=["100k", "380k", "980k", "1950k"])
def test_everything_on_an_armrest(benchmark, spacing_mm):
    solid = _armrest(spacing_mm)
    features = benchmark.pedantic(find_features, args=(solid,), rounds=3, iterations=1)
    benchmark.extra_info["triangles"] = len(solid.mesh.faces)
    assert len(features.bores) == 2


def test_one_more_extent_on_a_million_triangles(benchmark):
    solid = _armrest(0.25)
    features = find_features(solid)
    extent = benchmark.pedantic(extent_along, args=(features, features.extents[0].direction), rounds=3)
    assert extent.length_mm == pytest.approx(187.0, abs=0.05)
