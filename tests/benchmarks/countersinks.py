"""Bias and spread of countersinks, counterbores and balls over drawn scans, against the sizes the parts were made with.

`python -m tests.benchmarks.countersinks 72 [FIRST_SEED]` prints a line a kind. Shape, pose, coat, spacing and one of
four scatters are drawn anew for each seed; the coat is taken off by the walls each size says it crosses. `within 2u` is
the share of sizes no further off than twice their u.
"""

import sys

import numpy as np

from inbox_demo import simulated as sim
from tests.benchmarks.forms_and_slots import SCATTERS, told
from tests.finding.ball_parts import throttle_stud
from tests.finding.parts import solid_of
from tests.finding.sunk_parts import bearing_foot, hinge_leaf
from tests.measuring.parts import RULES, row, sheet
from verifier.finding import find_features
from verifier.measuring import measure


def countersunk(rng):
    bore, angle = float(rng.uniform(3.0, 6.0)), float(rng.choice([60.0, 82.0, 90.0, 120.0]))
    mouth = bore + float(rng.uniform(3.0, 6.0))
    plate = 0.5 * (mouth - bore) / float(np.tan(np.radians(0.5 * angle))) + float(rng.uniform(2.0, 5.0))
    rows = [
        row("screw", "bore", round(bore, 2)),
        row("sink", "countersink diameter", round(mouth, 2), of="screw"),
        row("slant", "countersink angle", angle, of="screw"),
    ]
    leaf = hinge_leaf(mouth_mm=mouth, angle_deg=angle, bore_mm=bore, plate_mm=plate, lean_deg=float(rng.choice([0, 2])))
    return leaf, rows, {"sink": mouth, "slant": angle}


def counterbored(rng):
    bore, deep = float(rng.uniform(4.0, 7.0)), float(rng.uniform(2.0, 7.0))
    wide = bore + float(rng.uniform(2.5, 6.0))
    rows = [
        row("screw", "bore", round(bore, 2)),
        row("sink", "counterbore diameter", round(wide, 2), of="screw"),
        row("deep", "counterbore depth", round(deep, 2), of="screw"),
    ]
    return bearing_foot(wide_mm=wide, deep_mm=deep, bore_mm=bore), rows, {"sink": wide, "deep": deep}


def balled(rng):
    ball = float(rng.uniform(6.0, 20.0))
    neck = ball * float(rng.uniform(0.4, 0.8))
    return throttle_stud(ball_mm=ball, neck_mm=neck), [row("knob", "ball", round(ball, 2))], {"knob": ball}


PARTS = (countersunk, counterbored, balled)


def misses(seed):
    """(kind, error, u) of every size measured, and the kinds of those that were not."""
    rng = np.random.default_rng(seed)
    part, rows, truth = PARTS[seed % len(PARTS)](rng)
    scatter, coat = SCATTERS[(seed // len(PARTS)) % len(SCATTERS)], float(rng.uniform(0.0, 0.06))
    scanned = sim.scan(part, spacing_mm=rng.uniform(0.35, 0.6), seed=seed, coat_mm=coat, **scatter)
    kind = {each.name: each.kind for each in rows}
    sizes = [s for s in measure(find_features(solid_of(scanned)), sheet(*rows), RULES) if s.name in truth]
    found = [
        (kind[s.name], s.measured_mm - s.walls * coat - truth[s.name], s.u_mm)
        for s in sizes
        if s.measured_mm is not None
    ]
    return found, [kind[size.name] for size in sizes if size.measured_mm is None]


if __name__ == "__main__":
    told(misses, int(sys.argv[1]) if len(sys.argv) > 1 else 16, int(sys.argv[2]) if len(sys.argv) > 2 else 0)
