"""How true rebuilt bores are: their size across the flats, the place and the lean of their axis.

`python -m tests.benchmarks.rebuilt_bores 12 [FIRST_SEED]` scans lever, rocker and clip that often each, pose, net and
scatter drawn anew; the clip's wire bore is scanned as two craters 2 mm deep and 0.2 mm out of round.
"""

import argparse

import numpy as np

from inbox_demo import simulated
from tests.correcting.bored import bored, gauge

ALLOWANCE_MM = 0.2  # of the shipped printer
WANTED_MM = {"use": "true"}
Places = dict[str, tuple[float, float]]


def parts() -> list[tuple[simulated.Shape, Places, Places]]:
    """Shape, its good bores and its bad ones, each with its axis in the drawing."""
    return [
        (simulated.latch_lever(), {"pivot": (0, 0), "pin": (60, 0)}, {}),
        (simulated.pump_rocker(), {"pivot": (0, 0), "long end": (-48, 6), "short end": (36, 8)}, {}),
        (simulated.fence_clip(seen_mm=2.0, oval_mm=0.2), {"screw": (-16, 0), "nail": (-4, 5)}, {"wire": (6, -5)}),
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("first_seed", type=int, nargs="?", default=9300)
    asked = parser.parse_args()
    errors: dict[str, list[tuple[float, float, float]]] = {"good": [], "bad": []}
    left = 0
    for seed in range(asked.first_seed, asked.first_seed + asked.count):
        rng = np.random.default_rng(seed)
        for shape, good, bad in parts():
            places = good | bad
            made = bored(
                shape,
                dict.fromkeys(places, WANTED_MM),
                seed=seed,
                spacing_mm=float(rng.uniform(0.35, 0.5 if bad else 0.9)),
                white_mm=float(rng.uniform(0.01, 0.04)),
            )
            for name, at_mm in places.items():
                if not made.bore(name).made:
                    left += 1
                    continue
                wanted = shape.truth[name] + ALLOWANCE_MM
                found = gauge(made, at_mm, wanted / 2.0 + 0.5)
                size = float(np.abs(np.array(found.across_flats_mm) - wanted).max())
                place = float(np.linalg.norm(found.at_mm - at_mm))
                errors["good" if name in good else "bad"].append((size, place, found.lean_deg))
    print("| bores | number | size off by at most, mm | axis off: rms, most, mm | leans: rms, most, degrees |")
    for kind, rows in errors.items():
        size, place, lean = np.array(rows).T
        rms = [float(np.sqrt(np.mean(np.square(each)))) for each in (place, lean)]
        print(
            f"| {kind} | {len(rows)} | {size.max():.4f} | {rms[0]:.3f}, {place.max():.3f} "
            f"| {rms[1]:.3f}, {lean.max():.3f} |"
        )
    print(f"left as scanned: {left}")


if __name__ == "__main__":
    main()
