"""Bias and spread of forms, slots and pitch circles over drawn scans, against the sizes the parts were made with.

`python -m tests.benchmarks.forms_and_slots 48 [FIRST_SEED]` prints a line a kind. Shape, form, pose, spacing and one
of four scatters are drawn anew for each seed. `within 2u` is the share of sizes no further off than twice their u.
"""

import sys
from collections import defaultdict

import numpy as np

from inbox_demo import simulated as sim
from tests.measuring import shapes
from tests.measuring.parts import RULES, row, sheet
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending.solid import Solid
from verifier.mesh import Mesh

SCATTERS = (
    {"white_mm": 0.02, "correlated_mm": 0.02, "correlation_mm": 1.0},
    {"white_mm": 0.05, "correlated_mm": 0.0},
    {"white_mm": 0.03, "correlated_mm": 0.04, "correlation_mm": 2.0},
    {"white_mm": 0.01, "correlated_mm": 0.005, "correlation_mm": 1.0},
)
RING = [f"ring {k}" for k in range(6)]


def plate(rng):
    """A hinge plate, flat, bowed or twisted; its form over all but the outermost millimetre."""
    bow, twist = rng.choice([0.0, 0.1, 0.3]), rng.choice([0.0, 0.2])
    x, y = np.meshgrid(np.linspace(-0.975, 0.975, 79), np.linspace(-0.95, 0.95, 39))
    top = -bow * x**2 + 0.5 * twist * x * y
    rows = [row("plate", "thickness", 6.0 + 0.67 * bow), row("flatness", "flatness", of="plate", tolerance=0.5)]
    return shapes.bowed_plate(bow, twist_mm=twist), rows, {"flatness": float(np.ptp(top))}


def lug(rng):
    lean, bore = rng.choice([0.0, 0.3, 1.0], 2)
    rows = [
        row("plate", "thickness", 10.0),
        row("lug", "thickness", 12.0),
        row("bore", "bore", 8.0),
        row("lug square", "perpendicularity", of="lug", datum="plate", tolerance=0.5),
        row("bore square", "perpendicularity", of="bore", datum="plate", tolerance=0.5),
        row("lug parallel", "parallelism", of="lug", tolerance=0.5),
    ]
    truth = {
        "lug square": 18.5 * float(np.sin(np.radians(lean))),
        "bore square": 9.3 * float(np.sin(np.radians(bore))),
        "lug parallel": 0.0,
    }
    return shapes.leaning_lug(lean, bore_deg=bore), rows, truth


def flange(rng):
    pitch = float(rng.uniform(40.0, 46.0))
    rows = [*(row(name, "bore", 5.5) for name in RING), row("ring", "pitch circle", round(pitch, 2), through=RING)]
    return shapes.flange(6, pitch), rows, {"ring": pitch}


def guide(rng):
    width, length = float(rng.uniform(4.0, 8.0)), float(rng.uniform(14.0, 26.0))
    rows = [row("wide", "slot width", round(width, 2)), row("long", "slot length", round(length, 2))]
    return shapes.slotted_guide(width_mm=width, length_mm=length), rows, {"wide": width, "long": length}


PARTS = (plate, lug, flange, guide)


def misses(seed):
    """(kind, error, u) of every size measured, and the kinds of those that were not."""
    rng = np.random.default_rng(seed)
    part, rows, truth = PARTS[seed % len(PARTS)](rng)
    scatter = SCATTERS[(seed // len(PARTS)) % len(SCATTERS)]
    scanned = sim.scan(part, spacing_mm=rng.uniform(0.4, 0.7), seed=seed, **scatter)
    solid = Solid(Mesh(scanned.vertices_mm, scanned.faces), np.zeros(len(scanned.faces), np.uint8))
    kind = {each.name: each.kind for each in rows}
    sizes = [size for size in measure(find_features(solid), sheet(*rows), RULES) if size.name in truth]
    found = [(kind[s.name], s.measured_mm - truth[s.name], s.u_mm) for s in sizes if s.measured_mm is not None]
    return found, [kind[size.name] for size in sizes if size.measured_mm is None]


def told(misses, count, first):
    """Print the line of each kind over so many seeds; misses(seed) as above."""
    by_kind, lost = defaultdict(list), defaultdict(int)
    for seed in range(first, first + count):
        found, missing = misses(seed)
        for kind, error, u in found:
            by_kind[kind].append((error, u))
        for kind in missing:
            lost[kind] += 1
    print(f"{'kind':18s} {'n':>4s} {'lost':>5s} {'bias':>8s} {'sd':>7s} {'rms of error/u':>15s} {'within 2u':>10s}")
    for kind, pairs in sorted(by_kind.items()):
        error, u = np.array(pairs).T
        z, within = np.sqrt(np.mean((error / u) ** 2)), 100.0 * np.mean(np.abs(error) <= 2.0 * u)
        line = f"{kind:18s} {len(pairs):4d} {lost[kind]:5d} {error.mean():+8.4f} {error.std():7.4f} {z:15.2f}"
        print(f"{line} {within:9.1f}%")


if __name__ == "__main__":
    told(misses, int(sys.argv[1]) if len(sys.argv) > 1 else 16, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
