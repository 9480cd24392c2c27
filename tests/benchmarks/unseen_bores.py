"""Bores whose walls were hardly seen: `python -m tests.benchmarks.unseen_bores barrel|tee|cross SEED`.

A barrel of a hinge is seen a ragged way in from both ends; a bore that ends in a wider one (`tee`) or runs through it
(`cross`) is not seen but for a ragged rest at either end, or not even that; or the wide one's wall around it is not.
Nets of 0.4 to 0.9 mm, bores of 2 to 10 mm. `right` has the part's bores, all of them open.
"""

import sys
import time
from math import hypot
from pathlib import Path

import igl
import manifold3d
import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import faults

from verifier.errors import CannotMend
from verifier.mending import mend
from verifier.mesh import BoolArray, Mesh

PARTS = 24
ROUGH_MM = 0.01


def _drawn(rng: np.random.Generator, turn: np.ndarray, deepest_mm: float) -> np.ndarray:
    """A depth for every turn, slanting and drawn place by place."""
    at = np.sort(rng.uniform(-np.pi, np.pi, rng.integers(6, 24)))
    slant_mm, way = rng.uniform(0.0, 0.6 * deepest_mm), rng.uniform(-np.pi, np.pi)
    return np.interp(turn, at, rng.uniform(0.0, deepest_mm, len(at)), period=2 * np.pi) + slant_mm * (
        1.0 + np.cos(turn - way)
    )


def _made(inside, low, high, net_mm: float, rng: np.random.Generator) -> Mesh:
    bounds = (*(x - 1.0 for x in low), *(x + 1.0 for x in high))
    made = manifold3d.Manifold.level_set(inside, bounds, net_mm, tolerance=0.001).to_mesh64()
    points = np.array(made.vert_properties)[:, :3]
    return Mesh(points + rng.normal(0.0, ROUGH_MM, points.shape), np.array(made.tri_verts).astype(np.int64))


def barrel(rng: np.random.Generator) -> tuple[Mesh, BoolArray, np.ndarray]:
    """The part, which of its faces are gone, and places on the axes."""
    radius = rng.uniform(1.5, 5.0)
    outer, length, net = (
        radius + rng.uniform(1.2, 3.5),
        min(rng.uniform(4.0, 10.0) * radius, 45.0),
        rng.uniform(0.4, 0.9),
    )
    leaf, wide = rng.uniform(2.0, 4.0), rng.uniform(8.0, 16.0)

    def inside(x, y, z):
        p = (x, y, z)
        leaves = faults.box(p, (0, outer - leaf, 0.1 * length), (outer + wide, outer, 0.9 * length))
        return -max(min(max(hypot(x, y) - outer, -z, z - length), leaves), faults.bore(p, 0, 0, radius))

    mesh = _made(inside, (-outer, -outer, 0), (outer + wide, outer, length), net, rng)
    x, y, z = faults.middles(mesh).T
    turn, deepest = np.arctan2(y, x), rng.uniform(0.8, 1.2 * radius)
    unseen = (z > _drawn(rng, turn, deepest)) & (z < length - _drawn(rng, turn, deepest))
    axis = np.linspace([0, 0, 0.3], [0, 0, length - 0.3], 15)
    return mesh, (np.hypot(x, y) < radius + 0.4) & unseen, axis


def crossing(rng: np.random.Generator, *, through: bool) -> tuple[Mesh, BoolArray, np.ndarray]:
    wide = rng.uniform(2.0, 4.0)
    narrow, high = rng.uniform(1.2, 0.85 * wide), wide + rng.uniform(2.0, 6.0)
    net, long, beside = rng.uniform(0.4, 0.8), rng.uniform(10.0, 18.0), rng.uniform(-0.2, 0.2) * (wide - narrow)

    def inside(x, y, z):
        across = narrow - hypot(x - beside, y)
        block = faults.box((x, y, z), (-high, -long, -high), (high, long, high))
        return -max(block, wide - hypot(x, z), across if through else min(across, z))

    mesh = _made(inside, (-high, -long, -high), (high, long, high), net, rng)
    x, y, z = faults.middles(mesh).T
    off, turn, deepest = np.hypot(x - beside, y), np.arctan2(y, x - beside), rng.uniform(0.3, 1.2)
    on_wall = (off < narrow + 0.35) & (np.hypot(x, z) > wide - 0.1)
    gone = on_wall & (z > 0) & (high - z > _drawn(rng, turn, deepest))
    kind = rng.integers(3)
    if kind == 1:
        meeting = np.sqrt(np.maximum(wide**2 - (beside + narrow * np.cos(turn)) ** 2, 0.0))
        gone &= z - meeting > _drawn(rng, turn, deepest)
    if kind == 2:
        around = (np.abs(np.hypot(x, z) - wide) < 0.3) & (off < narrow + 0.2 + _drawn(rng, turn, 1.0)) & (z > 0)
        gone |= around
    if through and kind != 2:
        gone |= on_wall & (z < 0) & (high + z > _drawn(rng, turn, deepest))
    lowest = 0.3 - high if through else 0.0
    along = np.linspace([0, 0.3 - long, 0], [0, long - 0.3, 0], 11)
    return mesh, gone, np.concatenate([along, np.linspace([beside, 0, lowest], [beside, 0, high - 0.3], 11)])


def main(kind: str, seed: int) -> None:
    told = {"right": 0, "shut": 0, "wrong": 0, "refused": 0}
    started = time.process_time()
    for k in range(PARTS):
        rng = np.random.default_rng([seed, k])
        mesh, gone, axes = barrel(rng) if kind == "barrel" else crossing(rng, through=kind == "cross")
        try:
            made = mend(faults.scan_of(Mesh(mesh.vertices_mm, mesh.faces[~gone]))).mesh
        except CannotMend:
            told["refused"] += 1
            continue
        shut = (igl.fast_winding_number(made.vertices_mm, made.faces, axes) > 0.5).any()
        same = len(made.vertices_mm) - len(made.faces) // 2 == len(mesh.vertices_mm) - len(mesh.faces) // 2
        told["shut" if shut else "right" if same else "wrong"] += 1
    print(kind, seed, told, f"{time.process_time() - started:.1f} CPU s with making them")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
