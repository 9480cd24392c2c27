"""How well, how surely and how fast two sides of large simulated parts are joined.

python tests/benchmarks/joining_sides.py FIRST_SEED SEEDS [SHAPE ...]
"""

import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from tests.joining import dotted, views
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotJoin
from verifier.joining.two_sides import place_two_sides
from verifier.mesh import Mesh
from verifier.rulebook import Sheet, SheetRow


def lid_with_bosses() -> views.Large:
    """Its rim is the same turned half round; either face has a boss 40 mm across, off its middle."""
    plain = views.trough_lid(0.0)

    def half(x: np.ndarray, y: np.ndarray, inward: np.ndarray) -> np.ndarray:
        return plain.half(x, y, inward) + 6.0 / (1.0 + np.exp((np.hypot(x - 300.0, y - 60.0) - 20.0) / 1.5))

    return replace(plain, half=half, equal=())


SHAPES: dict[str, Callable[[], views.Large]] = {
    "blade": views.seat_panel,
    "wing": views.mudguard,
    "shell": views.shell,
    "straight wall": lambda: views.shell(0.5),
    "shell, wall read": views.shell,
    "knife": views.feed_bin_lid,
    "bump 2 mm": lambda: views.trough_lid(2.0),
    "bump 1 mm": lambda: views.trough_lid(1.0),
    "symmetric": lambda: views.trough_lid(0.0),
    "bosses": lid_with_bosses,
    "round": dotted.round_lid,
    "heel, far past": dotted.lid_with_a_heel,
    "bump 2 mm, far past": lambda: views.trough_lid(2.0),
    "blade, far past": views.seat_panel,
}
# Shapes whose faces tell, seen as finely as that takes.
FINE = {"bosses": {"inner_mm": 4.0}, "round": {"inner_mm": 6.0}}
# Shapes seen so far past the middle of their rims, mm: the support's crease then lies beneath the outermost line.
PAST_MM = {"heel, far past": (4.0, 8.0), "bump 2 mm, far past": (3.0, 6.0), "blade, far past": (3.0, 6.0)}
# Shapes whose sheet has a calliper reading of the greatest thickness.
READ = {"knife", "shell, wall read"}
DENSITY = {"spacing_mm": 1.4, "inner_mm": 12.0}
RIGHT_DEG, RIGHT_MM, GROSS_MM, MOST_SURE_MM = 0.2, 1.0, 5.0, 1.5


def one(name: str, seed: int) -> tuple[float, float, bool, float] | None:
    """Turn and largest distance off, whether it was called sure, CPU seconds; None when it was refused."""
    part, rng = SHAPES[name](), np.random.default_rng([seed, len(name)])
    past = {"past_rim_mm": float(rng.uniform(*PAST_MM[name]))} if name in PAST_MM else {}
    fault = views.random_fault(rng, **DENSITY | past | FINE.get(name, {}))
    first, second = views.view(part, 1, fault, rng), views.view(part, -1, fault, rng)
    scans = [scan_of(Mesh(view.vertices_mm, view.faces)) for view in (first, second)]
    sheet = None
    if name in READ:
        reading = part.thickest_mm + float(rng.normal(0, 0.03))
        sheet = Sheet(part=part.name, size=(SheetRow(name="thickest", kind="thickness", reading=reading),))
    begin = time.process_time()
    try:
        found = place_two_sides(*scans, sheet)
    except CannotJoin:
        return None
    seconds = time.process_time() - begin
    return *views.errors(found.taken.poses[1], first, second, part), found.sure, seconds


def main(first_seed: int, seeds: int, shapes: list[str]) -> None:
    print("| shape | right | sure | sure and > 1.5 mm off | sure and gross | refused | middle, largest mm | CPU s |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for name in shapes or SHAPES:
        tried = [one(name, seed) for seed in range(first_seed, first_seed + seeds)]
        kept = [each for each in tried if each is not None]
        right = sum(turn < RIGHT_DEG and away < RIGHT_MM for turn, away, _, _ in kept)
        sure = [away for _, away, is_sure, _ in kept if is_sure]
        off = [away for _, away, _, _ in kept] or [float("nan")]
        print(
            f"| {name} | {right}/{seeds} | {len(sure)} | {sum(a > MOST_SURE_MM for a in sure)}"
            f" | {sum(a > GROSS_MM for a in sure)} | {seeds - len(kept)} | {np.median(off):.2f}, {max(off):.2f}"
            f" | {np.mean([each[3] for each in kept] or [0.0]):.1f} |",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
