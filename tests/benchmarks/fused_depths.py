"""Scans made as a handheld scanner makes them: depth pictures from many sides, fused in a grid of cells, and meshed.

`python -m tests.benchmarks.fused_depths 2 [FIRST_SEED]` prints a line a scan and a table a kind of size. Each picture
has white and shared scatter that grows where the surface leans away, loses what leans by more than 72 degrees, and
lies a little wrong; what no picture saw stays a hole. No step is shared with the other simulator but the shapes.
"""

import argparse
from dataclasses import dataclass

import igl
import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial.transform import Rotation

from inbox_demo import simulated
from tests.benchmarks.truth import ROWS_OF, RULES, shape_of
from tests.mending.faults import scan_of
from verifier.errors import CannotMend
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending import mend
from verifier.mesh import Array, BoolArray, Mesh
from verifier.rulebook import Sheet, SheetRow

VIEWS = 28
PIXEL_MM = 0.3
REACH_MM = 1.2
LEAST_COSINE = 0.31
WHITE_MM, SHARED_MM, SHARED_OVER_PIXELS = 0.02, 0.02, 3.0
ASTRAY_MM, ASTRAY_DEG = 0.01, 0.01
OFF = 2.2


@dataclass(frozen=True)
class Picture:
    """Depth along -z of the camera's frame, (h, w), NaN where nothing was seen, and the cosine of the lean there.

    turn : (3, 3), rows are the camera's axes; corner_mm : (2,) of the first pixel
    """

    turn: Array
    corner_mm: Array
    depth_mm: Array
    cosine: Array


def looking(count: int) -> Array:
    """Directions spread evenly over the sphere, (count, 3)."""
    k = np.arange(count) + 0.5
    z, angle = 1.0 - 2.0 * k / count, np.pi * (1.0 + 5.0**0.5) * k
    across = np.sqrt(1.0 - z**2)
    return np.column_stack([across * np.cos(angle), across * np.sin(angle), z])


def corners_of(shape: simulated.Shape) -> Array:
    low, high = np.asarray(shape.low_mm, float), np.asarray(shape.high_mm, float)
    return np.array([[(low, high)[i][0], (low, high)[j][1], (low, high)[k][2]] for i, j, k in np.ndindex(2, 2, 2)])


def picture(shape: simulated.Shape, direction: Array, rng: np.random.Generator) -> Picture:
    """One look at the part from outside along a direction, by stepping along each ray as far as the surface is."""
    helper = np.eye(3)[np.argmin(np.abs(direction))]
    right = np.cross(helper, direction)
    right /= np.linalg.norm(right)
    turn = np.array([right, np.cross(direction, right), direction])
    box = corners_of(shape) @ turn.T
    low, high = box.min(axis=0), box.max(axis=0)
    width, height = np.ceil((high[:2] - low[:2]) / PIXEL_MM).astype(int)
    u, v = np.meshgrid(low[0] + PIXEL_MM * np.arange(width), low[1] + PIXEL_MM * np.arange(height))
    at = np.column_stack([u.ravel(), v.ravel(), np.full(u.size, high[2])])
    open_rays = np.arange(u.size)
    met = np.zeros(u.size, dtype=bool)
    for _ in range(120):
        away = shape.distance(at[open_rays] @ turn)
        at[open_rays, 2] -= 0.9 * np.maximum(away, 0.002)
        met[open_rays[away < 0.002]] = True
        open_rays = open_rays[(away >= 0.002) & (at[open_rays, 2] > low[2])]
        if len(open_rays) == 0:
            break
    space = at[met] @ turn
    steps = 1e-3 * np.eye(3)
    normals = np.column_stack([shape.distance(space + e) - shape.distance(space - e) for e in steps]) / 2e-3
    lean = np.zeros(u.size)
    lean[met] = normals @ direction / np.maximum(np.linalg.norm(normals, axis=1), 1e-9)
    seen = met & (lean > LEAST_COSINE)
    shared = gaussian_filter(rng.normal(size=u.shape), SHARED_OVER_PIXELS)
    scatter = WHITE_MM * rng.normal(size=u.shape) + SHARED_MM * shared / shared.std()
    depth = np.where(seen, at[:, 2] + scatter.ravel() / np.maximum(lean, LEAST_COSINE), np.nan)
    astray = Rotation.from_rotvec(np.radians(ASTRAY_DEG) * rng.normal(size=3)).as_matrix()
    moved = low[:2] + ASTRAY_MM * rng.normal(size=2)
    depth = depth + ASTRAY_MM * rng.normal()
    return Picture(turn @ astray, moved, depth.reshape(u.shape), lean.reshape(u.shape))


def fused(shape: simulated.Shape, cell_mm: float, rng: np.random.Generator) -> Mesh:
    """All pictures in one grid: the mean of the signed distances along the looks, weighed by how square they were."""
    low = np.asarray(shape.low_mm, float) - 1.0
    counts = np.ceil((np.asarray(shape.high_mm, float) + 1.0 - low) / cell_mm).astype(int) + 1
    z, y, x = np.meshgrid(*(low[k] + cell_mm * np.arange(counts[k]) for k in (2, 1, 0)), indexing="ij")
    cells = np.column_stack([x.ravel(), y.ravel(), z.ravel()])
    total, weight = np.zeros(len(cells)), np.zeros(len(cells))
    turned = Rotation.random(random_state=rng).as_matrix()
    for direction in looking(VIEWS) @ turned.T:
        told = picture(shape, direction, rng)
        seen = cells @ told.turn.T
        pixels = ((seen[:, :2] - told.corner_mm) / PIXEL_MM)[:, ::-1].T
        depth = map_coordinates(told.depth_mm, pixels, order=1, cval=np.nan)
        cosine = map_coordinates(told.cosine, pixels, order=0)
        # Along a look the surface is farther than it is square to it.
        before = (seen[:, 2] - depth) * np.maximum(cosine, LEAST_COSINE)
        counts_here: BoolArray = np.isfinite(depth) & (before > -REACH_MM)
        # What lies behind the surface is the less certain the deeper it lies: there may be another one.
        worth = np.where(counts_here, cosine * np.clip(1.0 + before / REACH_MM, 0.0, 1.0), 0.0)
        total[counts_here] += (worth * np.minimum(before, REACH_MM))[counts_here]
        weight += worth
    values = np.where(weight > 0.0, total / np.maximum(weight, 1e-9), REACH_MM)
    vertices, faces, _ = igl.marching_cubes(values, cells, *(int(n) for n in counts), 0.0)
    middles = vertices[faces].mean(axis=1)
    places = ((middles - low) / cell_mm)[:, ::-1].T
    known = map_coordinates((weight > 0.0).astype(float).reshape(counts[::-1]), places, order=1)
    return Mesh(vertices, faces[known > 0.999].astype(np.int64))


def one(name: str, seed: int) -> list[tuple[str, float, float]]:
    """Kind, error and stated uncertainty of every size of one scan."""
    rng = np.random.default_rng([seed, list(ROWS_OF).index(name)])
    shape = shape_of(name)
    cell_mm = float(rng.uniform(0.35, 0.6))
    mesh = fused(shape, cell_mm, rng)
    rows = [SheetRow(reading=round(shape.truth[str(r["name"])], 2), tolerance=0.3, **r) for r in ROWS_OF[name]]
    try:
        solid = mend(scan_of(mesh))
    except CannotMend as refusal:
        print(f"{name} {seed}: {refusal}")
        return []
    features = find_features(solid)
    sizes = measure(features, Sheet(part=name, size=tuple(rows)), RULES)
    told = [s for s in sizes if s.measured_mm is not None and not s.alternatives_mm]
    missing = sorted({r.name for r in rows} - {s.name for s in told})
    kinds = {r.name: r.kind for r in rows}
    errors = [(s.name, (s.measured_mm or 0.0) - shape.truth[s.name], s.u_mm) for s in told]
    off = [f"{n} {e:+.3f} (u {u:.3f})" for n, e, u in errors if abs(e) > OFF * u]
    noise = features.noise
    print(
        f"{name} {seed}, cells {cell_mm:.2f} mm, {len(mesh.faces)} triangles, filled {100 * solid.filled_share:.2f} %: "
        f"white {noise.white_mm:.3f}, shared {noise.correlated_mm:.3f}, waves {noise.wave_mm:.3f}; "
        f"missing {missing}; off {off}",
        flush=True,
    )
    return [(kinds[n], e, u) for n, e, u in errors]


def print_table(found: list[tuple[str, float, float]]) -> None:
    """A line a kind of size; found : kind, error and uncertainty of every size."""
    print("| kind | sizes | bias mm | standard deviation mm | rms of error / u | within 2 u |")
    for kind in sorted({k for k, _, _ in found}):
        error, u = np.array([(e, s) for k, e, s in found if k == kind]).T
        rms, within = np.sqrt(np.mean((error / u) ** 2)), 100.0 * np.mean(np.abs(error) < 2.0 * u)
        print(f"| {kind} | {len(u)} | {error.mean():+.4f} | {error.std():.4f} | {rms:.2f} | {within:.0f} % |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("first_seed", type=int, nargs="?", default=9500)
    parser.add_argument("--parts", nargs="*", default=["latch_lever", "pump_rocker", "fence_clip", "seat_armrest"])
    asked = parser.parse_args()
    found = [
        told
        for seed in range(asked.first_seed, asked.first_seed + asked.count)
        for name in asked.parts
        for told in one(name, seed)
    ]
    print_table(found)


if __name__ == "__main__":
    main()
