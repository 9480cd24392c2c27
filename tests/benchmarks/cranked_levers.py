"""Centre distances of bores at different heights, on scans whose views lie a little wrong on each other.

`python -m tests.benchmarks.cranked_levers 20 [FIRST_SEED]` prints a line a lever and what came out over all. A lever
has two plates 8 to 20 mm apart in height, a bore in each. Thirty views from all sides lie 0.008 to 0.03 mm wrong; a
view sees of a bore's wall what its mouth lets it, so that upper and lower parts of a wall come from other views.
"""

import argparse

import numpy as np

from inbox_demo import simulated
from tests.benchmarks.fused_depths import looking
from tests.benchmarks.truth import shared_scatter
from verifier.finding import find_features
from verifier.measuring.cylinders import centre_distance
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh

VIEWS, LEAST_COSINE = 30, 0.2
Bore = tuple[float, float, float, float]  # x, lower and upper mouth, diameter, mm


def lever(rng: np.random.Generator) -> tuple[simulated.Shape, tuple[Bore, Bore]]:
    """A lever of two plates joined by a wall between them."""
    long, high = float(rng.uniform(50, 110)), float(rng.uniform(8, 20))
    thick, half = float(rng.uniform(4, 8)), float(rng.uniform(7, 12))
    bores = (
        (0.0, 0.0, thick, float(rng.uniform(5, 9))),
        (long, high, high + thick, float(rng.uniform(4, 7))),
    )
    middle = 0.5 * long

    def distance(p: Array) -> Array:
        def plate(x: float, low: float) -> Array:
            return simulated.intersect(
                simulated.tapered_bar(p, (x, 0), (middle, 0), half, half), simulated.slab(p[:, 2], low, low + thick)
            )

        wall = simulated.intersect(
            simulated.box2(p, (middle, 0), (thick, 2 * half)), simulated.slab(p[:, 2], 0.5, high + thick - 0.5)
        )
        solid = simulated.unite(plate(0.0, 0.0), plate(long, high), wall)
        for x, low, top, diameter in bores:
            hole = np.maximum(simulated.bore(p, (x, 0), diameter), simulated.slab(p[:, 2], low - 1.0, top + 1.0))
            solid = simulated.cut(solid, hole)
        return solid

    box = ((-half - 1, -half - 1, -1), (long + half + 1, half + 1, high + thick + 1))
    return simulated.Shape("lever", distance, *box), bores


def seen(points: Array, normals: Array, way: Array, bores: tuple[Bore, Bore]) -> Array:
    """How squarely a view along `way` sees each point, nought where it does not, (n,)."""
    cosine = normals @ way
    weight = np.where(cosine > LEAST_COSINE, cosine, 0.0)
    across = float(np.linalg.norm(way[:2]))
    for x, low, top, diameter in bores:
        on_wall = np.abs(np.hypot(points[:, 0] - x, points[:, 1]) - 0.5 * diameter) < 0.2
        on_wall &= (points[:, 2] > low) & (points[:, 2] < top) & (np.abs(normals[:, 2]) < 0.7)
        # The ray leaves across the bore; where it is through, it has risen so far.
        rise = diameter * (normals[:, :2] @ way[:2]) / max(across**2, 1e-9) * abs(way[2])
        deep = top - points[:, 2] if way[2] > 0.0 else points[:, 2] - low
        weight[on_wall & (deep > rise)] = 0.0
    return weight


def scanned(seed: int) -> tuple[Solid, simulated.Scanned, tuple[Bore, Bore]]:
    """A lever seen by views that lie wrong."""
    rng = np.random.default_rng(seed)
    shape, bores = lever(rng)
    spacing, astray_mm = float(rng.uniform(0.4, 0.65)), float(rng.uniform(0.008, 0.03))
    clean = simulated.scan(shape, spacing_mm=spacing, seed=seed, white_mm=0.0, correlated_mm=0.0)
    points = (clean.vertices_mm - clean.shift_mm) @ clean.turn
    normals = clean.normals @ clean.turn
    centre = points.mean(axis=0)
    total, weight = np.zeros(len(points)), np.full(len(points), 1e-6)
    for way in looking(VIEWS) @ simulated.rotation(seed).T:
        turned = rng.normal(scale=astray_mm / (0.5 * np.ptp(points, axis=0).max()), size=3)
        wrong = np.cross(turned, points - centre) + rng.normal(scale=astray_mm, size=3)
        sight = seen(points, normals, way, bores)
        total += sight * np.einsum("ij,ij->i", wrong, normals)
        weight += sight
    away = total / weight + 0.015 * rng.normal(size=len(points)) + 0.01 * shared_scatter(points, 1.0, rng)
    mesh = Mesh(clean.vertices_mm + away[:, None] * clean.normals, clean.faces)
    return Solid(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8)), clean, bores


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("first_seed", type=int, nargs="?", default=0)
    asked = parser.parse_args()
    found: list[tuple[float, float]] = []
    for seed in range(asked.first_seed, asked.first_seed + asked.count):
        solid, clean, bores = scanned(seed)
        features = find_features(solid)
        if len(features.bores) != 2:
            print(f"{seed}: {len(features.bores)} bores")
            continue
        up = clean.turn @ np.array([0.0, 0.0, 1.0])
        lean = [float(np.degrees(np.arccos(min(1.0, abs(float(bore.axis @ up)))))) for bore in features.bores]
        pair = centre_distance(*features.bores, features.planes)
        assert pair is not None
        error = pair.value - bores[1][0]
        found.append((error, pair.u))
        higher = f"{bores[1][1]:.0f} mm higher, axes lean {lean[0]:.2f} and {lean[1]:.2f}"
        print(f"{seed}: {higher}: {error:+.3f} u {pair.u:.3f}", flush=True)
    error, u = np.array(found).T
    z = np.abs(error) / u
    off = f"bias {error.mean():+.4f}, standard deviation {error.std():.4f}, largest {np.abs(error).max():.3f}"
    print(f"{len(u)}: {off}, rms of error / u {np.sqrt(np.mean(z**2)):.2f}, within 2 u {100 * np.mean(z < 2):.0f} %")


if __name__ == "__main__":
    main()
