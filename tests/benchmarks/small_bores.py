"""Bores of 3.4 to 4.4 mm in plates of 3 to 8 mm, on scans fused of depth pictures in cells of 0.45 to 0.7 mm.

`python -m tests.benchmarks.small_bores 20 [FIRST_SEED]` prints a line a plate, what was missed, and how true and how
honest the rest is. The scans are those of `fused_depths`.
"""

import argparse

import numpy as np

from inbox_demo import simulated
from tests.benchmarks.fused_depths import fused
from tests.mending.faults import scan_of
from verifier.finding import find_features
from verifier.mending import mend
from verifier.mesh import Array

SAME_PLACE_MM = 1.0


def plate(rng: np.random.Generator) -> tuple[simulated.Shape, list[tuple[float, float, float]]]:
    """A plate with three bores: x, y and diameter of each."""
    thick = float(rng.uniform(3.0, 8.0))
    diameters = rng.uniform(3.4, 4.4, 3)
    bores = [(x, float(rng.uniform(-2.5, 2.5)), float(d)) for x, d in zip((-9.0, 0.0, 9.0), diameters, strict=True)]

    def distance(p: Array) -> Array:
        solid = simulated.intersect(simulated.box2(p, (0, 0), (30, 16)), simulated.slab(p[:, 2], 0.0, thick))
        for x, y, diameter in bores:
            solid = simulated.cut(solid, simulated.bore(p, (x, y), diameter))
        return solid

    return simulated.Shape("plate", distance, (-16, -9, -1), (16, 9, thick + 1)), bores


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("first_seed", type=int, nargs="?", default=0)
    asked = parser.parse_args()
    told: list[tuple[float, float]] = []
    missed = extra = 0
    for seed in range(asked.first_seed, asked.first_seed + asked.count):
        rng = np.random.default_rng(seed)
        shape, bores = plate(rng)
        cell_mm = float(rng.uniform(0.45, 0.7))
        found = list(find_features(mend(scan_of(fused(shape, cell_mm, rng)))).cylinders)
        line = []
        for x, y, diameter in bores:
            near = [c for c in found if np.hypot(*(c.axis_point_mm[:2] - (x, y))) < SAME_PLACE_MM]
            found = [c for c in found if c not in near[:1]]
            missed += not near
            told += [(c.diameter_mm - diameter, c.u_diameter_mm) for c in near[:1]]
            line.append(f"{diameter:.2f} {told[-1][0]:+.3f} u {told[-1][1]:.3f}" if near else f"{diameter:.2f} missed")
        extra += len(found)
        print(f"{seed}, cells {cell_mm:.2f} mm: {', '.join(line)}; {len(found)} besides", flush=True)
    error, u = np.array(told).T
    z = np.abs(error) / u
    print(
        f"{missed} of {missed + len(told)} missed, {extra} found that are none; bias {error.mean():+.4f}, "
        f"standard deviation {error.std():.4f}, rms of error / u {np.sqrt(np.mean(z**2)):.2f}, "
        f"within 2 u {100 * np.mean(z < 2.0):.0f} %"
    )


if __name__ == "__main__":
    main()
