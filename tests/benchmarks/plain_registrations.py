"""The same two sides put together by plain library registrations, beside `joining_sides.py`.

python -m tests.benchmarks.plain_registrations FIRST_SEED SEEDS [SHAPE ...]

`trimesh.registration.icp` from the principal axes, and from five pairs of points picked by hand, 2 mm off each, that
`procrustes` lays on each other. Neither knows which way a surface looks. The skirt has been taken off for them.
"""

import sys
import time

import numpy as np
import trimesh
from scipy.spatial import cKDTree
from trimesh.registration import icp, procrustes

from tests.benchmarks.joining_sides import DENSITY, RIGHT_DEG, RIGHT_MM, SHAPES
from tests.joining import views

PICKED_MM, PICKS = 2.0, 5
SAMPLES, STEPS = 3000, 60


def by_axes(first: views.View, second: views.View, rng: np.random.Generator) -> views.Array:
    """Principal axes, all four ways of pairing them, then ICP from each; the one that costs least."""
    ours, on_first = points_of(second), points_of(first)
    some = rng.choice(len(ours), SAMPLES, replace=False)
    middles, axes = zip(*((each.mean(axis=0), axes_of(each)) for each in (ours, on_first)), strict=True)
    found = []
    for flip in ([1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]):
        start = np.eye(4)
        start[:3, :3] = axes[1].T @ np.diag(flip) @ axes[0]
        start[:3, 3] = middles[1] - start[:3, :3] @ middles[0]
        pose, _, cost = icp(ours[some], on_first, initial=start, max_iterations=STEPS, reflection=False, scale=False)
        found.append((cost, pose))
    return np.asarray(min(found, key=lambda each: each[0])[1])


def axes_of(points: views.Array) -> views.Array:
    """Rows along the principal axes, right-handed."""
    axes = np.linalg.svd(points[::5] - points.mean(axis=0), full_matrices=False)[2]
    axes[2] = np.cross(axes[0], axes[1])
    return np.asarray(axes)


def points_of(view: views.View) -> views.Array:
    """The part's corners, less the skirt: that they are known is a present."""
    return view.vertices_mm[np.unique(view.faces[view.is_part])]


def by_hand(first: views.View, second: views.View, rng: np.random.Generator) -> views.Array:
    """Five pairs of points picked by hand on the rim, then ICP."""
    true = views.true_pose(first, second)
    ours, on_first = points_of(second), points_of(first)
    moved = trimesh.transform_points(ours, true)
    near = cKDTree(on_first).query(moved)[0] < 1.5
    picked = rng.choice(np.flatnonzero(near), PICKS, replace=False)
    there = moved[picked] + rng.normal(0, PICKED_MM, (PICKS, 3))
    start, _, _ = procrustes(ours[picked], there, reflection=False, scale=False)
    some = rng.choice(len(ours), SAMPLES, replace=False)
    found, _, _ = icp(ours[some], on_first, initial=start, max_iterations=STEPS, reflection=False, scale=False)
    return np.asarray(found)


def main(first_seed: int, seeds: int, shapes: list[str]) -> None:
    print("| shape | right: principal axes and ICP | five points and ICP | middle error mm | CPU s each |")
    print("| --- | --- | --- | --- | --- |")
    for name in shapes or SHAPES:
        right, off, begin = [0, 0], [], time.process_time()
        for seed in range(first_seed, first_seed + seeds):
            part, rng = SHAPES[name](), np.random.default_rng([seed, len(name)])
            fault = views.random_fault(rng, **DENSITY)
            first, second = views.view(part, 1, fault, rng), views.view(part, -1, fault, rng)
            for k, pose in enumerate((by_axes(first, second, rng), by_hand(first, second, rng))):
                turn, away = views.errors(pose, first, second, part)
                right[k] += turn < RIGHT_DEG and away < RIGHT_MM
                off.append((k, away))
        middle = [float(np.median([away for which, away in off if which == k])) for k in (0, 1)]
        each = (time.process_time() - begin) / seeds / 2
        print(
            f"| {name} | {right[0]}/{seeds} | {right[1]}/{seeds} | {middle[0]:.0f}, {middle[1]:.0f} | {each:.1f} |",
            flush=True,
        )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), sys.argv[3:])
