"""Prints drawn at random: what a filament and a printer make of known meshes, read with a calliper."""

import numpy as np

from verifier.learning.kept_print import KeptPrint
from verifier.learning.row import PrintRow, ReadRow
from verifier.rulebook.rules import Filament, Printer

PETG = Filament(
    name="PETG", polymer="PETG", shrink_xy=0.003, shrink_z=0.0015, u_shrink_xy=0.001, u_shrink_z=0.001,
    density_g_cm3=1.27, price_per_kg=25, currency="EUR", source="for tests",
)  # fmt: skip
PA6 = PETG.model_copy(
    update={"name": "PA6", "polymer": "PA6", "shrink_xy": 0.01, "shrink_z": 0.005, "u_shrink_xy": 0.004,
            "u_shrink_z": 0.004}
)  # fmt: skip
BENCH_220 = Printer(
    name="bench 220", bed_x_mm=220, bed_y_mm=220, bed_z_mm=250, hole_allowance_mm=0.2, u_hole_mm=0.058,
    size_scatter_mm=0.02, source="for tests",
)  # fmt: skip

# name, kind, size on the part in mm, rise, walls, upright hole
LATCH_LEVER = (
    ("length", "overall", 84.0, 0.0, 2, False),
    ("width", "overall", 24.0, 0.0, 2, False),
    ("height", "overall", 12.0, 1.0, 2, False),
    ("pivot", "bore", 10.0, 0.0, -2, True),
    ("pin", "bore", 6.0, 0.0, -2, True),
    ("pivot to pin", "centre distance", 60.0, 0.0, 0, False),
    ("pin to end", "edge distance", 12.0, 0.0, 1, False),
    ("boss step", "step", 4.0, 1.0, 0, False),
)
SEAT_ARMREST = (
    ("length", "overall", 190.0, 0.0, 2, False),
    ("width", "overall", 46.0, 0.0, 2, False),
    ("height", "overall", 38.0, 1.0, 2, False),
    ("front bolt", "bore", 8.4, 0.0, -2, True),
    ("rear bolt", "bore", 8.4, 0.0, -2, True),
    ("bolt to bolt", "centre distance", 128.0, 0.0, 0, False),
)
PARTS = {"latch_lever": LATCH_LEVER, "seat_armrest": SEAT_ARMREST}


def printed(part, truth, rng, used=(0.003, 0.0015), u_mm=0.02, scatter_mm=0.02, u_model_mm=0.0):
    """Rows of one print. truth : shrink_xy, shrink_z, hole_mm, proud_mm of this print; used : the mesh's shrinkages."""
    shrink_xy, shrink_z, hole_mm, proud_mm = truth
    rows = []
    for name, kind, size_mm, rise, walls, hole in PARTS[part]:
        model_mm = size_mm / (1 - (used[1] if rise else used[0])) + (0.2 if hole else 0.0)
        true_mm = model_mm * (1 - (shrink_z if rise else shrink_xy))
        true_mm += -hole_mm if hole else walls * proud_mm * (1 - rise)
        read_mm = true_mm + rng.normal(0, u_mm) + rng.normal(0, scatter_mm)
        rows.append(ReadRow(PrintRow(name, kind, model_mm, u_model_mm, size_mm, rise, walls, hole), read_mm, u_mm))
    return tuple(rows)


def kept(number, rows, part="latch_lever", filament="PETG", condition=None):
    return KeptPrint(number, part, number, filament, "bench 220", condition, f"2024-05-{number:02}T08:00:00", rows)


def misread(rows, name, by_mm):
    """The same rows, one of them read wrong."""
    return tuple(ReadRow(each.row, each.read_mm + by_mm, each.u_mm) if each.row.name == name else each for each in rows)


def series(rng, prints, mean, between, part=None):
    """Terms of single prints about one mean: shrinkages and lengths scatter by `between`, a value a term."""
    return [tuple(np.array(mean) + rng.normal(0, between)) for _ in range(prints)]
