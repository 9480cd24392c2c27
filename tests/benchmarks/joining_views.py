"""How well, how surely and how fast several views of small simulated parts are joined.

python -m tests.benchmarks.joining_views FIRST_SEED SEEDS [--kinds KIND ...] [--parts PART ...]
"""

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.joining import turntable
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotJoin
from verifier.joining.views import place_views
from verifier.mesh import Mesh

Way = tuple[float, float, float]
UP, DOWN, ASIDE, END = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.3)
SPACING_MM, LEAN_DEG = 1.0, 15.0
RIGHT_MM, GROSS_MM = 0.3, 2.0


def _leaning(*ways: Way) -> Callable[[np.random.Generator], list[Way]]:
    return lambda rng: [turntable.tilted(way, rng.uniform(0.0, LEAN_DEG), rng) for way in ways]


def _near_each_other(rng: np.random.Generator) -> list[Way]:
    x, y, z = rng.normal(size=3)
    return [(x, y, z), turntable.tilted((x, y, z), rng.uniform(45.0, 85.0), rng)]


def _one_side_twice(rng: np.random.Generator) -> list[Way]:
    first = turntable.tilted(UP, rng.uniform(0.0, 10.0), rng)
    return [first, turntable.tilted(first, rng.uniform(5.0, 30.0), rng)]


def _any(rng: np.random.Generator) -> list[Way]:
    ways = _leaning(UP, DOWN, ASIDE, END, (-0.3, -1.0, 0.2), (-1.0, 0.2, -0.3))(rng)
    return [ways[k] for k in rng.permutation(len(ways))]


KINDS: dict[str, Callable[[np.random.Generator], list[Way]]] = {
    "opposite sides and one from the side": _leaning(UP, DOWN, ASIDE),
    "two that overlap much": _near_each_other,
    "one side twice": _one_side_twice,
    "opposite sides alone": _leaning(UP, DOWN),
    "six from all sides": _any,
    "bare faces that share nothing": lambda _: [UP, DOWN],
}


@dataclass(frozen=True)
class Trial:
    """One try; off_mm is None when it was refused."""

    off_mm: float | None
    told: bool
    sure: bool
    overlap: float
    cpu_s: float


def tried(part: str, kind: str, seed: int) -> Trial:
    shape, rng = turntable.PARTS[part](), np.random.default_rng([seed, len(part), len(kind)])
    hows = [turntable.random_how(rng, way, spacing_mm=SPACING_MM) for way in KINDS[kind](rng)]
    views = [turntable.view(shape, how, rng) for how in hows]
    if kind.startswith("bare"):
        views = [_bare(view, how) for view, how in zip(views, hows, strict=True)]
    scans = [scan_of(Mesh(view.vertices_mm, view.faces)) for view in views]
    begin = time.process_time()
    try:
        found = place_views(scans)
    except CannotJoin:
        return Trial(None, False, False, 0.0, time.process_time() - begin)
    seconds = time.process_time() - begin
    off = [turntable.greatest_error_mm(way.poses, views, shape) for way in found.alternatives]
    shared = min((link.overlap_share for link in found.links), default=0.0)
    return Trial(off[found.chosen], min(off) < RIGHT_MM, found.sure, shared, seconds)


def _bare(view: turntable.View, how: turntable.How) -> turntable.View:
    """The faces that look straight up, and no wall."""
    corners = view.vertices_mm[view.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    chosen = view.is_part & (normals @ view.to_part[:3, :3].T @ np.asarray(how.up) > 0.9)
    return replace(view, faces=view.faces[chosen], is_part=view.is_part[chosen])


def _told(part: str, kind: str, seed: int) -> Trial:
    """One try, its outcome printed."""
    trial = tried(part, kind, seed)
    off = "refused" if trial.off_mm is None else f"{trial.off_mm:.3f} mm off, {'sure' if trial.sure else 'not sure'}"
    print(f"  {part} {seed}: {off}, {trial.overlap:.2f} shared, {trial.cpu_s:.1f} s", flush=True)
    return trial


def main(first_seed: int, seeds: int, kinds: list[str], parts: list[str]) -> None:
    rows = []
    for kind in kinds or KINDS:
        every = [_told(part, kind, seed) for seed in range(first_seed, first_seed + seeds) for part in parts]
        kept = [(trial.off_mm, trial) for trial in every if trial.off_mm is not None]
        off = [away for away, _ in kept]
        right = [away for away in off if away < RIGHT_MM] or [float("nan")]
        rows.append(
            f"| {kind} | {min((t.overlap for _, t in kept), default=0.0):.2f}"
            f" | {sum(away < RIGHT_MM for away in off)}/{len(every)} | {sum(t.told for _, t in kept)}"
            f" | {sum(t.sure for _, t in kept)} | {sum(t.sure and away >= RIGHT_MM for away, t in kept)}"
            f" ({sum(t.sure and away > GROSS_MM for away, t in kept)} gross) | {len(every) - len(kept)}"
            f" | {np.median(right):.3f}, {max(right):.3f} | {np.mean([t.cpu_s for t in every]):.1f} |"
        )
    print(
        "| views | least overlap | right | right one told | sure | sure and wrong | refused | mid, worst mm | CPU s |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |", *rows, sep="\n")


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("first_seed", type=int)
    asked.add_argument("seeds", type=int)
    asked.add_argument("--kinds", nargs="+", choices=list(KINDS), default=[])
    asked.add_argument("--parts", nargs="+", default=list(turntable.PARTS))
    told = asked.parse_args()
    main(told.first_seed, told.seeds, told.kinds, told.parts)
