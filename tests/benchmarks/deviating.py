"""What exact signed distances cost: corners of one scan against another's triangles, beside the plain library call.

`python -m tests.benchmarks.deviating [SPACING_MM]`; 0.115 mm gives a million triangles, and two scans' corners, each
once more with a hundredth of a millimetre of scatter, a million points.
"""

import sys
import time
from collections.abc import Callable

import igl
import numpy as np

from inbox_demo import simulated
from verifier.comparing.distances import nearest_on, searchable
from verifier.mesh import Array, Mesh


def timed(name: str, call: Callable[[], Array]) -> Array:
    cpu, wall = time.process_time(), time.perf_counter()
    found = call()
    print(f"{name:24s} CPU s {time.process_time() - cpu:6.2f}  wall s {time.perf_counter() - wall:6.2f}", flush=True)
    return found


def main(spacing_mm: float) -> None:
    lever, upright = simulated.latch_lever(), np.eye(3)
    fixed = simulated.scan(lever, spacing_mm=spacing_mm, seed=3, turn=upright, correlated_mm=0.0)
    other = simulated.scan(lever, spacing_mm=spacing_mm, seed=4, turn=upright, correlated_mm=0.0).vertices_mm
    points = np.concatenate([other, other + 0.01 * np.random.default_rng(1).normal(size=other.shape)])
    print(f"{len(points)} points, {len(fixed.faces)} triangles")
    mesh = Mesh(fixed.vertices_mm, fixed.faces)
    ours = timed("ours", lambda: nearest_on(searchable(mesh), points).away_mm)
    pseudo = igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL
    theirs = timed("library", lambda: igl.signed_distance(points, mesh.vertices_mm, mesh.faces, sign_type=pseudo)[0])
    print(f"greatest difference {np.abs(ours - theirs).max():.1e} mm")


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 0.115)
