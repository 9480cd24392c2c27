"""How often a scan finds its place on another: ten parts, whole or partial views, any pose.

`python -m tests.benchmarks.aligning full,facing60,cut60,both60 10 [FIRST_SEED]` prints each miss and a line a kind of
view. 'both' takes a share of either scan, seen from directions of their own, so that they may overlap by a third.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np

from tests.comparing.views import PARTS, off, scans_of, seen
from verifier.comparing import align, cloud_of

# A pose is right when no point is off by more than this.
RIGHT_DEG, RIGHT_MM = 0.2, 0.15


@dataclass(frozen=True)
class Trial:
    """One try: right, right among the poses told, called sure, and what it cost."""

    right: bool
    told: bool
    sure: bool
    off_mm: float
    cpu_s: float


def tried(part: str, view: str, seed: int) -> Trial:
    rng = np.random.default_rng(seed)
    pair = scans_of(part, seed, 1.2 if part == "seat_armrest" else 0.7)
    moving, fixed = pair.moving, pair.fixed
    how, share = (view[:-2], int(view[-2:]) / 100.0) if view != "full" else ("", 1.0)
    if how:
        moving = seen(moving, share, rng, "cut" if how == "cut" else "facing")
    if how == "both":
        fixed = seen(fixed, share, rng, "facing")
    begin = time.process_time()
    found = align(cloud_of(moving), cloud_of(fixed))
    cpu_s = time.process_time() - begin
    misses = [off(pose, pair.truth, moving) for pose in (found.pose, *(other.pose for other in found.alternatives))]
    right = [deg < RIGHT_DEG and mm < RIGHT_MM for deg, mm in misses]
    return Trial(right[0], any(right), found.sure, misses[0][1], cpu_s)


def main(views: list[str], count: int, first: int) -> None:
    print("view        right  told  of   sure and wrong  right, not sure  worst mm of right  CPU s")
    for view in views:
        trials = {(part, seed): tried(part, view, seed) for part in PARTS for seed in range(first, first + count)}
        for (part, seed), trial in trials.items():
            if not trial.right:
                print(f"  {part} {seed}: off by {trial.off_mm:.1f} mm, {'sure' if trial.sure else 'not sure'}")
        all_of = list(trials.values())
        print(
            f"{view:10s} {sum(t.right for t in all_of):6d} {sum(t.told for t in all_of):5d} {len(all_of):4d}"
            f" {sum(t.sure and not t.right for t in all_of):14d} {sum(t.right and not t.sure for t in all_of):16d}"
            f" {max((t.off_mm for t in all_of if t.right), default=0.0):18.3f}"
            f" {np.mean([t.cpu_s for t in all_of]):7.1f}",
            flush=True,
        )


if __name__ == "__main__":
    first_seed = int(sys.argv[3]) if len(sys.argv) > 3 else 0
    main(sys.argv[1].split(","), int(sys.argv[2]) if len(sys.argv) > 2 else 3, first_seed)
