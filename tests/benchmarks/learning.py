"""How often the pooled interval holds the truth, and how much closer predicted sizes come, filament by filament.

    python -m tests.benchmarks.learning 500 [SEED]

Each series draws a filament and a printer about the tables' figures by their stated uncertainties, then two to eight
prints of the lever and the armrest about those, each size read with 0.02 mm of scatter and printed with 0.02 mm.

How much closer the sizes predicted after three prints come than by the table is told to two truths: to the mean of what
this filament does on this printer, which is what a figure can know, and to the fourth print, which differs from that
mean by what prints differ. Beside the latter stands the most that any figure could reach without reading error from
three prints and from endlessly many: sqrt(D (u^2 + b^2)) / sqrt(D b^2 (1 + 1/k)), with D the squares of what one unit
of each term takes off the sizes, u the table's uncertainty and b the scatter of prints.
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
    """Whether each term's interval held the truth, and squared errors of sizes: by table and own figures, to what."""
    tables = np.array([filament.shrink_xy, filament.shrink_z, BENCH_220.hole_allowance_mm, 0.0])
    u = table_u(filament)
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
    loses = losses(parts[3])
    errors = [np.square(loses @ (said - true)) for true in (mean, truths[3]) for said in (tables, own)]
    return held, np.array(errors)


def table_u(filament):
    return np.array([filament.u_shrink_xy, filament.u_shrink_z, BENCH_220.u_hole_mm, 0.03])


def losses(part):
    return design_of([PrintRow(name, kind, size, 0.0, size, *rest) for name, kind, size, *rest in PARTS[part]])


def most_possible(filament, between, prints):
    """How many times closer to the next print the best figure from so many prints without reading error can be."""
    squared = np.square(np.vstack([losses(part) for part in PARTS])).sum(axis=0)
    apart = np.square(between)
    own = squared @ (apart * (1.0 + 1.0 / prints))
    return np.sqrt(squared @ (np.square(table_u(filament)) + apart) / own)


def main(count, seed):
    rules = load_rules(rules_folder())
    print(
        "            between %  interval holds the truth, %: plane  upwards  holes  walls   closer: to the mean, ",
        end="",
    )
    print("to the next print (most possible after 3 prints, after endlessly many)")
    begin = time.process_time()
    for name in FILAMENTS:
        filament = next(row for row in rules.filaments if row.name == name)
        for between in (0.0001, 0.0002, 0.0004):
            rng = np.random.default_rng(seed)
            scatter = np.array([between, 1.5 * between, 0.015, 0.005])
            held, errors = zip(*(one_series(filament, scatter, rng) for _ in range(count)), strict=True)
            shares = [
                100 * np.mean([told for told in column if told is not None]) for column in zip(*held, strict=True)
            ]
            table_mean, own_mean, table_next, own_next = np.concatenate(errors, axis=1).mean(axis=1)
            told = "  ".join(f"{value:6.1f}" for value in shares)
            limits = [most_possible(filament, scatter, prints) for prints in (3, np.inf)]
            print(
                f"{name:10s} {100 * between:8.2f} {told:>60s}   {np.sqrt(table_mean / own_mean):6.1f}"
                f" {np.sqrt(table_next / own_next):6.1f} ({limits[0]:.1f}, {limits[1]:.1f})",
                flush=True,
            )
    print(f"{time.process_time() - begin:.0f} CPU seconds")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else SEED)
