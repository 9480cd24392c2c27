"""Hubs on arms, lower than their neighbour, without the face at their end: `python -m tests.benchmarks.hub_ends SEED`.

Outer width 8 to 30 mm, bore 3 to 15 mm, net 0.4 to 0.9 mm. The end's faces are gone, in one of four over a
part of the turn alone, and so are both walls down to a depth drawn place by place, up to 3 mm. `right` has the part's
bores, all of them open; `off` is the filled surface that lies over 0.3 mm off the part; `lost` are corners of the scan.
"""

import sys
import time
from dataclasses import dataclass
from math import hypot
from pathlib import Path

import igl
import manifold3d
import numpy as np

sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import faults

from verifier.errors import CannotMend
from verifier.mending import Origin, Solid, mend
from verifier.mesh import Mesh, face_areas_mm2

HUBS = 32
OFF_MM = 0.3
BORES = 2


@dataclass(frozen=True)
class Hub:
    """A part with a hub about the third axis, and places on the axes of its bores."""

    mesh: Mesh
    radius_mm: float
    bore_mm: float
    top_mm: float
    arm_mm: float
    axes_mm: np.ndarray


def hub_on_arm(rng: np.random.Generator, rough_mm: float) -> Hub:
    radius = rng.uniform(4.0, 15.0)
    bore, top = rng.uniform(1.5, min(7.5, radius - 1.2)), rng.uniform(6.0, 14.0)
    arm, far = rng.uniform(2.5, min(5.0, top - 2.0)), radius + rng.uniform(12.0, 20.0)
    half, other = rng.uniform(2.5, min(0.9 * radius, 6.0)), rng.uniform(4.0, 7.0)
    other_bore, higher = rng.uniform(1.5, other - 1.5), top + rng.uniform(1.0, 6.0)
    net, foot = rng.uniform(0.4, 0.9), rng.uniform(-3.0, 0.0)

    def inside(x, y, z):
        p = (x, y, z)
        hub = max(hypot(x, y) - radius, -z, z - top)
        neighbour = max(hypot(x - far, y) - other, foot - z, z - higher)
        body = min(hub, neighbour, faults.box(p, (0, -half, 0), (far, half, arm)))
        return -max(body, faults.bore(p, 0, 0, bore), faults.bore(p, far, 0, other_bore))

    wide = max(radius, other) + 1.0
    bounds = (-radius - 1.0, -wide, foot - 1.0, far + other + 1.0, wide, higher + 1.0)
    made = manifold3d.Manifold.level_set(inside, bounds, net, tolerance=0.001).to_mesh64()
    points = np.array(made.vert_properties)[:, :3]
    mesh = Mesh(points + rng.normal(0.0, rough_mm, points.shape), np.array(made.tri_verts).astype(np.int64))
    axes = [(0.0, 0.0, z) for z in np.linspace(0.3, top - 0.3, 9)]
    axes += [(far, 0.0, z) for z in np.linspace(foot + 0.3, higher - 0.3, 5)]
    return Hub(mesh, radius, bore, top, arm, np.array(axes))


def without_end(hub: Hub, rng: np.random.Generator) -> Mesh:
    middles = faults.middles(hub.mesh)
    off, turn = np.hypot(*middles[:, :2].T), np.arctan2(middles[:, 1], middles[:, 0])
    deepest = min(rng.uniform(0.3, 3.0), hub.top_mm - hub.arm_mm - 0.8)
    outside = off > 0.5 * (hub.radius_mm + hub.bore_mm)
    depth = np.where(outside, *(_drawn(rng, turn, deepest) for _ in range(2)))
    gone = (off < hub.radius_mm + 0.3) & (middles[:, 2] > hub.top_mm - np.maximum(depth, 0.15))
    if rng.random() < 0.25:
        gone &= (turn - rng.uniform(0.0, 2 * np.pi)) % (2 * np.pi) < rng.uniform(0.5 * np.pi, 1.7 * np.pi)
    return Mesh(hub.mesh.vertices_mm, hub.mesh.faces[~gone])


def _drawn(rng: np.random.Generator, turn: np.ndarray, deepest: float) -> np.ndarray:
    places = np.sort(rng.uniform(-np.pi, np.pi, rng.integers(8, 40)))
    return np.interp(turn, places, rng.uniform(0.0, deepest, len(places)), period=2 * np.pi)


def judged(hub: Hub, scan: Mesh, solid: Solid) -> tuple[bool, bool, float, int]:
    """Whether a bore is shut, whether the bores are not the part's otherwise, mm2 that lie off, corners lost."""
    made = solid.mesh
    shut = bool((igl.fast_winding_number(made.vertices_mm, made.faces, hub.axes_mm) > 0.5).any())
    wrong = len(made.vertices_mm) - len(made.faces) // 2 != 2 - 2 * BORES
    new = Mesh(made.vertices_mm, made.faces[solid.origin == Origin.FILLED])
    away = igl.point_mesh_squared_distance(faults.middles(new), hub.mesh.vertices_mm, hub.mesh.faces)[0]
    of_scan, of_solid = (
        {corner.tobytes() for corner in mesh.vertices_mm[np.unique(mesh.faces)]} for mesh in (scan, made)
    )
    return shut, wrong and not shut, float(face_areas_mm2(new)[away > OFF_MM**2].sum()), len(of_scan - of_solid)


def main(seed: int, rough_mm: float) -> None:
    rows, refused, started = [], 0, time.process_time()
    for k in range(HUBS):
        rng = np.random.default_rng([seed, k])
        hub = hub_on_arm(rng, rough_mm)
        scan = without_end(hub, rng)
        try:
            rows.append(judged(hub, scan, mend(faults.scan_of(scan))))
        except CannotMend as refusal:
            print(k, refusal)
            refused += 1
    shut, wrong, off_mm2, lost = np.sum(rows, axis=0)
    right = len(rows) - shut - wrong
    print(f"{HUBS} hubs: right {right:.0f}, shut {shut:.0f}, wrong {wrong:.0f}, refused {refused}; ", end="")
    print(f"off {off_mm2:.0f} mm2, lost {lost:.0f} corners, {time.process_time() - started:.1f} CPU s with making them")


if __name__ == "__main__":
    main(int(sys.argv[1]), float(sys.argv[2]) if len(sys.argv) > 2 else 0.01)
