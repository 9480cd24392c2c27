"""Bias and spread of the least wall over fresh scans of a web, even, hollowed or tapering, and what it costs at 1 M.

`python -m tests.benchmarks.least_wall 16 [FIRST_SEED]` prints a line a web. Pose, spacing and one of four scatters are
drawn anew for each seed; `within 2u` is the share of walls no further off than twice their u.
"""

import sys
import time

import numpy as np

from inbox_demo import simulated as sim
from tests.benchmarks.forms_and_slots import SCATTERS
from tests.measuring import shapes
from verifier.finding import find_features
from verifier.finding.thinnest import FOOT_MM, ROUND_FOOT_MM, thinnest_wall
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

# Of a hollow web the mean under the foot is the least one plus hollow r^2 / 4, which a plane through its points leaves;
# of a tapering one the least is where a foot still rests on it, 0.4 mm clear of the end.
HOLLOW, TAPER = 0.004, 0.025
WEBS = (
    ("even, 1 mm", {"least_mm": 1.0}, 1.0),
    ("hollow, 2 mm", {"least_mm": 2.0, "hollow": HOLLOW}, 2.0 + HOLLOW * FOOT_MM**2 / 16.0),
    ("tapering from 1.5 mm", {"least_mm": 1.5, "taper": TAPER}, 1.5 + TAPER * (FOOT_MM / 2.0 + ROUND_FOOT_MM)),
)


def one(web, seed):
    """The wall found in a scan of a web, in the part's own frame, and the features it was found in."""
    rng = np.random.default_rng(seed)
    spacing = rng.uniform(0.3, 0.6)
    scanned = sim.scan(shapes.webbed_foot(**web), spacing_mm=spacing, seed=seed, **SCATTERS[seed % len(SCATTERS)])
    solid = Solid(Mesh(scanned.vertices_mm, scanned.faces), np.zeros(len(scanned.faces), np.uint8))
    features = find_features(solid)
    return thinnest_wall(features.surface, features.noise), scanned, features


def cost(spacing_mm, seed):
    """Triangles, CPU seconds of the least wall, and of finding."""
    scanned = sim.scan(shapes.webbed_foot(1.0), spacing_mm=spacing_mm, seed=seed, **SCATTERS[0])
    solid = Solid(Mesh(scanned.vertices_mm, scanned.faces), np.zeros(len(scanned.faces), np.uint8))
    start = time.process_time()
    features = find_features(solid)
    found = time.process_time()
    thinnest_wall(features.surface, features.noise)
    return len(scanned.faces), time.process_time() - found, found - start


def main(count, first):
    print(f"{'web':22s} {'n':>3s} {'bias':>8s} {'sd':>7s} {'mean u':>7s} {'rms of error/u':>15s} {'within 2u':>10s}")
    for name, web, truth in WEBS:
        walls = [one(web, seed)[0] for seed in range(first, first + count)]
        error, u = np.array([(wall.value_mm - truth, wall.u_mm) for wall in walls]).T
        line = f"{name:22s} {count:3d} {error.mean():+8.4f} {error.std(ddof=1):7.4f} {u.mean():7.4f}"
        print(f"{line} {np.sqrt(np.mean((error / u) ** 2)):15.2f} {100.0 * np.mean(np.abs(error) <= 2.0 * u):9.1f}%")
    print("{} triangles: least wall {:.2f} CPU s, finding {:.2f} CPU s".format(*cost(0.105, first)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 16, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
