"""Sins of real scanners that the models of scatter do not hold: which sizes they shift beyond what is stated.

`python -m tests.benchmarks.defects [SEED]` prints, for two parts and each sin, the noise found and the rows more than
2.2 of their stated uncertainties off.
"""

import sys
from collections.abc import Callable

import numpy as np
from scipy.sparse import coo_array, diags_array

from inbox_demo import simulated
from tests.benchmarks.truth import MODELS, ROWS_OF, RULES, clean_scan, shape_of, with_scatter
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh
from verifier.rulebook import Sheet, SheetRow

OFF = 2.2
ASKEW = np.array([0.3, 0.5, 0.81])


def smoothed(mesh: Mesh, times: int) -> Mesh:
    """As an exporter smooths: every corner half-way to the mean of its neighbours, so many times."""
    ends = np.concatenate([mesh.faces[:, [0, 1]], mesh.faces[:, [1, 2]], mesh.faces[:, [2, 0]]])
    count = len(mesh.vertices_mm)
    near = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count)).tocsr()
    mean = diags_array(1.0 / near.sum(axis=1)) @ near
    at = mesh.vertices_mm
    for _ in range(times):
        at = 0.5 * (at + mean @ at)
    return Mesh(at, mesh.faces)


def seen_at_a_slant(clean: simulated.Scanned, rng: np.random.Generator) -> Mesh:
    """Scatter of 0.02 mm along one view, up to five times as much where the surface leans away from it."""
    view = clean.turn @ ASKEW
    lean = 1.0 / np.maximum(np.abs(clean.normals @ view), 0.2)
    away = 0.02 * lean * rng.normal(size=len(lean))
    return Mesh(clean.vertices_mm + away[:, None] * view, clean.faces)


def sins(clean: simulated.Scanned, base: Mesh, rng: np.random.Generator) -> dict[str, Callable[[], Mesh]]:
    """Name -> the scan with that sin."""
    part = (clean.vertices_mm - clean.shift_mm) @ clean.turn
    across = part @ np.array([0.8, 0.6, 0.0])
    half = (across > np.median(across)).astype(float)[:, None]
    way = clean.turn @ ASKEW
    wave = np.sin(2.0 * np.pi * part[:, :1] / 60.0)

    def moved(away: Array) -> Callable[[], Mesh]:
        return lambda: Mesh(base.vertices_mm + away, clean.faces)

    return {
        "scatter along one view": lambda: seen_at_a_slant(clean, rng),
        "two views 0.03 mm apart in space": moved(0.03 * half * way),
        "two views 0.03 mm apart in height": moved(0.03 * half * clean.normals),
        "space bent by 0.03 mm over 60 mm": moved(0.03 * wave * way),
        "smoothed 3 times": lambda: smoothed(base, 3),
        "smoothed 10 times": lambda: smoothed(base, 10),
    }


def told(name: str, sin: str, mesh: Mesh) -> str:
    """One line of what was found."""
    truth = shape_of(name).truth
    rows = [SheetRow(reading=round(truth[str(row["name"])], 2), tolerance=0.3, **row) for row in ROWS_OF[name]]
    features = find_features(Solid(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8)))
    sizes = [
        size for size in measure(features, Sheet(part=name, size=tuple(rows)), RULES) if size.measured_mm is not None
    ]
    errors = {size.name: (size.measured_mm or 0.0) - truth[size.name] for size in sizes}
    off = [f"{s.name} {errors[s.name]:+.3f} (u {s.u_mm:.3f})" for s in sizes if abs(errors[s.name]) > OFF * s.u_mm]
    noise = features.noise
    found = f"white {noise.white_mm:.3f}, shared {noise.correlated_mm:.3f}, waves {noise.wave_mm:.3f}"
    return f"{name}, {sin}: {found}; {len(off)} of {len(sizes)} off: {'; '.join(off)}"


def main(seed: int) -> None:
    for name in ("latch_lever", "fence_clip"):
        clean, rng = clean_scan(name, 0, 0.0), np.random.default_rng(seed)
        for sin, made in sins(clean, with_scatter(clean, MODELS[0], 1.0, rng), rng).items():
            print(told(name, sin, made()), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
