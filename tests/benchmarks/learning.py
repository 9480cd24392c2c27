"""How often the pooled interval holds the truth, and how much closer predicted sizes come, filament by filament.

    python -m tests.benchmarks.learning 500

Each series draws a filament and a printer about the tables' figures by their stated uncertainties, then two to eight
prints of the lever and the armrest about those, each size read with 0.02 mm of scatter and printed with 0.02 mm.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "learning"))

from prints import BENCH_220, PARTS, kept, printed, series

from verifier.learning.figures import figures_of
from verifier.learning.row import PrintRow
from verifier.learning.terms import TERMS, design_of
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

SEED = 777201
FILAMENTS = ("PLA", "PETG", "ABS", "PA6", "PA12-CF", "POM")


def one_series(filament, between, rng):
    """Whether each term's interval held the truth, and squared errors of a next print by table and by own figures."""
    tables = np.array([filament.shrink_xy, filament.shrink_z, BENCH_220.hole_allowance_mm, 0.0])
    u = [filament.u_shrink_xy, filament.u_shrink_z, BENCH_220.u_hole_mm, 0.03]
    mean = rng.normal(tables, u)
    count = int(rng.integers(2, 9))
    truths = series(rng, max(count, 4), mean, between)
    parts = rng.choice(list(PARTS), len(truths))
    used = (filament.shrink_xy, filament.shrink_z)
    prints = [
        kept(k + 1, printed(part, truth, rng, used), part, filament.name, "conditioned")
        for k, (part, truth) in enumerate(zip(parts, truths, strict=True))
    ]
    known = figures_of(filament, BENCH_220, prints[:count], 0.01).known
    held = [
        None if (own := known[name].pooled) is None else abs(own.value - mean[k]) <= own.half_width
        for k, name in enumerate(TERMS)
    ]
    known = figures_of(filament, BENCH_220, prints[:3], 0.01).known
    own = np.array([known[name].pooled.value if known[name].used else known[name].table.value for name in TERMS])
    loses = design_of([PrintRow(name, kind, size, 0.0, size, *rest) for name, kind, size, *rest in PARTS[parts[3]]])
    return held, np.square(loses @ (tables - truths[3])), np.square(loses @ (own - truths[3]))


def main(count):
    rules = load_rules(rules_folder())
    print("filament   between %  interval holds the truth, %: plane  upwards  holes  walls   closer by")
    begin = time.process_time()
    for name in FILAMENTS:
        filament = next(row for row in rules.filaments if row.name == name)
        for between in (0.0001, 0.0002, 0.0004):
            rng = np.random.default_rng(SEED)
            scatter = (between, 1.5 * between, 0.015, 0.005)
            held, table, own = zip(*(one_series(filament, scatter, rng) for _ in range(count)), strict=True)
            shares = [
                100 * np.mean([told for told in column if told is not None]) for column in zip(*held, strict=True)
            ]
            closer = np.sqrt(np.mean(np.concatenate(table)) / np.mean(np.concatenate(own)))
            told = "  ".join(f"{value:6.1f}" for value in shares)
            print(f"{name:10s} {100 * between:8.2f} {told:>60s}   {closer:6.1f}", flush=True)
    print(f"{time.process_time() - begin:.0f} CPU seconds")


if __name__ == "__main__":
    main(int(sys.argv[1]))
