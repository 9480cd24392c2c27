"""What marker dots do for joins that shapes leave in doubt, what is left of them on the surface, and what they cost.

python -m tests.benchmarks.marker_dots {joins,surface,none} FIRST_SEED SEEDS
python -m tests.benchmarks.marker_dots cost
"""

import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from tests.joining import dotted, turntable, views
from tests.joining.test_laid_together import scan_of
from tests.joining.test_views import scans_of
from verifier.errors import CannotJoin
from verifier.inspect import mended
from verifier.joining import join
from verifier.joining.dots.dot import Dots
from verifier.joining.dots.find import find_dots
from verifier.joining.posed import Placing
from verifier.joining.two_sides import place_two_sides
from verifier.joining.views import place_views
from verifier.mesh import Mesh
from verifier.reading.scan import Scan
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

UP, DOWN, ASIDE = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0)
RIGHT_LARGE_MM, RIGHT_SMALL_MM = 1.0, 0.3


@dataclass(frozen=True)
class Case:
    """Scans of a part with dots, the way they are placed, and how far poses are off."""

    scans: list[Scan]
    place: Callable[[list[Scan], Sequence[Dots]], Placing]
    off_mm: Callable[[tuple[np.ndarray, ...]], float]
    right_mm: float


def lid(part: views.Large, seed: int) -> Case:
    """Both sides of a large lid, dots along its rim; one scan in three shows them as holes."""
    rng = np.random.default_rng([seed, len(part.name)])
    drawn = {"noise_mm": float(rng.uniform(0.02, 0.06)), "past_rim_mm": float(rng.uniform(6.0, 8.0))}
    fault = views.random_fault(rng, spacing_mm=1.0, inner_mm=12.0, **drawn)
    dots = dotted.dots_round_rim(part, rng, int(rng.integers(8, 13)), height_mm=float(rng.uniform(0.2, 0.35)))
    seen = [_stuck(views.view(part, side, fault, rng), dots, rng) for side in (1, -1)]
    return Case(
        [scan_of(Mesh(view.vertices_mm, view.faces)) for view in seen],
        lambda scans, dots: place_two_sides(scans[0], scans[1], None, *([tuple(dots)] if dots else [])),
        lambda poses: views.errors(poses[1], seen[0], seen[1], part)[1],
        RIGHT_LARGE_MM,
    )


def cap(seed: int) -> Case:
    """A small round cap from above and from below, dots round its wall."""
    seen, _ = cap_views(seed, 0.7)
    return Case(
        scans_of(seen),
        lambda scans, dots: place_views(scans, dots),
        lambda poses: turntable.greatest_error_mm(poses, seen, dotted.round_cap()),
        RIGHT_SMALL_MM,
    )


def cap_views(seed: int, spacing_mm: float, *, domed: bool = False) -> tuple[list[turntable.View], dotted.Dots]:
    rng = np.random.default_rng([seed, 5])
    height_mm = float(rng.uniform(0.5, 0.9) if domed else rng.uniform(0.12, 0.3))
    dots = dotted.dots_round_cap(rng, int(rng.integers(6, 9)), diameter_mm=4.0, height_mm=height_mm, domed=domed)
    seen = []
    for way in (UP, DOWN):
        fixed = {"spacing_mm": spacing_mm, "putty_mm": 0.0, "hidden_mm": float(rng.uniform(0.0, 1.5)), "scale": 1.0}
        how = turntable.random_how(rng, turntable.tilted(way, rng.uniform(0.0, 12.0), rng), **fixed)
        seen.append(_stuck(turntable.view(dotted.round_cap(), how, rng), dots, rng))
    return seen, dots


def _stuck(view: dotted.Seen, dots: dotted.Dots, rng: np.random.Generator) -> dotted.Seen:
    return dotted.stuck_on(view, dots, holes=float(rng.choice([0.0, 0.0, 1.0])), rng=rng)


CASES: dict[str, Callable[[int], Case]] = {
    "lid with a heel": lambda seed: lid(dotted.lid_with_a_heel(), seed),
    "round lid": lambda seed: lid(dotted.round_lid(), seed),
    "round cap": cap,
}


def joins(first: int, seeds: int) -> None:
    """Placings without and with the dots."""
    print("| part | dots | right | sure | sure and wrong | refused | worst of the right, mm |", flush=True)
    for name, make in CASES.items():
        told: dict[str, list[tuple[float, bool]]] = {"without": [], "with": []}
        for seed in range(first, first + seeds):
            case = make(seed)
            dots = [find_dots(scan.mesh) for scan in case.scans]
            told["without"].append(_placed(case, ()))
            told["with"].append(_placed(case, dots))
            print(f"  {name} {seed}: {[len(each) for each in dots]}", *(each[-1] for each in told.values()), flush=True)
        for used, each in told.items():
            right = [off for off, _ in each if off < case.right_mm]
            wrong = sum(sure and off >= case.right_mm for off, sure in each)
            print(
                f"| {name} | {used} | {len(right)} of {seeds} | {sum(sure for _, sure in each)} | {wrong}"
                f" | {sum(np.isinf(off) for off, _ in each)} | {max(right, default=np.nan):.2f} |",
                flush=True,
            )


def _placed(case: Case, dots: Sequence[Dots]) -> tuple[float, bool]:
    try:
        found = case.place(case.scans, dots)
    except CannotJoin:
        return float("inf"), False
    return round(case.off_mm(found.taken.poses), 3), found.sure


def surface(first: int, seeds: int) -> None:
    """How far joined and mended surface lies from the part under dots, and elsewhere."""
    rules = load_rules(rules_folder())
    for seed in range(first, first + seeds):
        seen, dots = cap_views(seed, 0.6, domed=seed % 3 == 0)
        joined = join(scans_of(seen), None, rules)
        solid, _ = mended(joined.scan, joined.report)
        used = np.unique(solid.mesh.faces)
        points = solid.mesh.vertices_mm[used] @ seen[0].to_part[:3, :3].T + seen[0].to_part[:3, 3]
        under = np.min([np.linalg.norm(points - at, axis=1) for at in dots.at_mm], axis=0) < 0.6 * dots.diameter_mm
        off = np.abs(dotted.round_cap().distance(points))
        print(
            f"{seed}: {len(dots.at_mm)} of {dots.height_mm:.2f} mm, {joined.report.dots}; under them 99 %"
            f" {np.quantile(off[under], 0.99):.3f}, at most {off[under].max():.3f}; elsewhere 99 %"
            f" {np.quantile(off[~under], 0.99):.3f} mm",
            flush=True,
        )


def none(first: int, seeds: int) -> None:
    """Parts without dots, and plates whose real features are of a dot's size: how many views are said to have dots."""
    said, tried = [], 0
    parts = [(name, make) for name, make in turntable.PARTS.items()]
    parts += [(f"{feature} {mm:g}", lambda f=feature, mm=mm: dotted.plate_with(f, mm)) for feature, mm in dotted.REAL]
    for seed in range(first, first + seeds):
        for name, make in parts:
            rng = np.random.default_rng([seed, len(name)])
            way = turntable.tilted(UP if name[-1].isdigit() else (UP, DOWN, ASIDE)[seed % 3], rng.uniform(0, 15), rng)
            how = turntable.random_how(rng, way, spacing_mm=float(rng.choice([0.5, 0.8, 1.0])))
            view = turntable.view(make(), how, rng)
            found, tried = find_dots(Mesh(view.vertices_mm, view.faces)), tried + 1
            if len(found):
                said.append((seed, name, found))
                print(f"  {seed} {name}: {found}", flush=True)
    print(f"{len(said)} of {tried} views said to have dots")


def cost() -> None:
    """CPU seconds of looking for dots on one side of a lid with some, fine and coarse."""
    for spacing_mm, inner_mm in ((0.85, 8.0), (0.6, 1.3)):
        rng = np.random.default_rng(1)
        part = dotted.round_lid()
        fault = views.random_fault(rng, spacing_mm=spacing_mm, inner_mm=inner_mm, past_rim_mm=7.0)
        seen = _stuck(views.view(part, 1, fault, rng), dotted.dots_round_rim(part, rng, height_mm=0.3), rng)
        begin = time.process_time()
        found = find_dots(Mesh(seen.vertices_mm, seen.faces))
        print(f"{len(seen.faces)} triangles, {len(found)} dots: {time.process_time() - begin:.2f} CPU s")


if __name__ == "__main__":
    if sys.argv[1] == "cost":
        cost()
    else:
        {"joins": joins, "surface": surface, "none": none}[sys.argv[1]](int(sys.argv[2]), int(sys.argv[3]))
