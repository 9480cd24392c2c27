"""What colours tell of parts that a turn lays on themselves where their views meet, and what light alone does.

python -m tests.benchmarks.painted_twins FIRST_SEED SEEDS

The small parts carry a boss above and a pit below, and which boss goes with which pit their walls do not say; the lid
has a bump of 0.6 mm on its rim. Each is joined without colours, with paint in spots, with five strokes of a pen across
the walls, and in one colour; each view has a lamp, an exposure, a tint and a scatter of its own. `scanner`: the light
comes from above the view. `window`: it comes from one side, casts shadows and glares, and the part was turned under it
as its wrong way is turned, so that light and shadow agree in the wrong way. Nothing here is used by the verifier.
"""

import argparse
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from inbox_demo import simulated as sim
from inbox_demo.simulated import Shape
from tests.joining import turntable, views
from tests.joining.test_laid_together import scan_of
from verifier.joining.posed import Placing
from verifier.joining.two_sides import place_two_sides
from verifier.joining.views import place_views
from verifier.mesh import Mesh
from verifier.reading.scan import Scan

Array = NDArray[np.float64]
Paint = Callable[[Array], Array]
View = turntable.View | views.View
SIDES = ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0))
RIGHT_MM, RIGHT_LID_MM = 0.3, 1.5


def _marked(plan: Callable[[Array], Array], high_mm: float, half_mm: tuple[float, float],
            boss: tuple[float, float], pit: tuple[float, float]) -> Shape:  # fmt: skip
    def distance(p: Array) -> Array:
        body = sim.intersect(plan(p), sim.slab(p[:, 2], 0.0, high_mm))
        stud = sim.intersect(sim.disc(p, boss, 4.0), sim.slab(p[:, 2], high_mm - 3.0, high_mm + 4.0))
        return sim.cut(sim.unite(body, stud), sim.intersect(sim.disc(p, pit, 4.0), sim.slab(p[:, 2], -1.0, 3.5)))

    x, y = half_mm
    return Shape("twin", distance, (-x - 1, -y - 1, -1), (x + 1, y + 1, high_mm + 5))


def _hexagon(p: Array) -> Array:
    turns = np.pi * np.arange(3) / 3
    return np.abs(p[:, :1] * np.cos(turns) + p[:, 1:2] * np.sin(turns)).max(axis=1) - 25.0


SHAPES: dict[str, Callable[[], Shape]] = {
    "rail": lambda: _marked(lambda p: sim.box2(p, (0, 0), (110, 26)), 10.0, (55, 13), (38, 5), (30, -5)),
    "block": lambda: _marked(lambda p: sim.box2(p, (0, 0), (64, 40)), 20.0, (32, 20), (15, 5), (-16, 6)),
    "post": lambda: _marked(lambda p: sim.box2(p, (0, 0), (26, 26)), 40.0, (13, 13), (6, 4), (5, -6)),
    "hexagon": lambda: _marked(_hexagon, 24.0, (29, 29), (14, 3), (3, 13)),
}


@dataclass(frozen=True)
class Scene:
    """Two views of one part, and how to join them.

    twin : (3, 3) the turn of the wrong way, in the part's frame; free : which places nothing shades from a direction
    """

    seen: tuple[View, View]
    size_mm: float
    twin: Array
    free: Callable[[Array, Array], NDArray[np.bool_]]
    join: Callable[[list[Scan]], Placing]
    right_mm: float


def small(name: str, seed: int) -> Scene:
    shape, rng = SHAPES[name](), np.random.default_rng([seed, len(name)])
    hows = [turntable.random_how(rng, turntable.tilted(up, rng.uniform(0, 12), rng), spacing_mm=1.0) for up in SIDES]
    first, second = (turntable.view(shape, how, rng) for how in hows)
    size = float(np.linalg.norm(np.subtract(shape.high_mm, shape.low_mm)))
    turn = {"post": 0.5 * np.pi, "hexagon": np.pi / 3.0}.get(name, np.pi)

    def free(points: Array, way: Array) -> NDArray[np.bool_]:
        return turntable.free(shape, points, way, size)

    return Scene((first, second), size, _about_z(turn), free, place_views, RIGHT_MM)


def lid(seed: int) -> Scene:
    part, rng = views.trough_lid(0.6), np.random.default_rng([seed, 3])
    fault = views.random_fault(rng, spacing_mm=1.6, inner_mm=12.0)
    seen = views.view(part, 1, fault, rng), views.view(part, -1, fault, rng)
    return Scene(seen, 1200.0, _about_z(np.pi), lambda points, _: np.ones(len(points), dtype=bool),
                 lambda scans: place_two_sides(*scans, None), RIGHT_LID_MM)  # fmt: skip


def _about_z(turn: float) -> Array:
    c, s = np.cos(turn), np.sin(turn)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def spots(size_mm: float, rng: np.random.Generator) -> Paint:
    waves, phase = rng.normal(size=(60, 3)) / (size_mm * rng.uniform(0.04, 0.12)), rng.uniform(0, 2 * np.pi, 60)
    two, most = rng.uniform(0.05, 0.9, (2, 3)), rng.uniform(0.0, 4.0)
    return lambda p: np.where((np.cos(p @ waves.T + phase).sum(axis=1) > most)[:, None], *two)


def strokes(size_mm: float, rng: np.random.Generator) -> Paint:
    """Five strokes of a pen across the walls, a twelfth of the part wide on small ones and 35 mm on the lid."""
    at = 2 * np.pi * (np.arange(5) + rng.uniform(0, 0.8, 5)) / 5
    width, pen, part = min(size_mm / 12, 35.0), rng.uniform(0.03, 0.5, 3), rng.uniform(0.4, 0.8, 3)

    def paint(p: Array) -> Array:
        off = np.abs(np.angle(np.exp(1j * (np.arctan2(p[:, 1], p[:, 0])[:, None] - at)))).min(axis=1)
        return np.where((off * np.hypot(p[:, 0], p[:, 1]) < width / 2)[:, None], pen, part)

    return paint


def one_colour(size_mm: float, rng: np.random.Generator) -> Paint:
    colour = rng.uniform(0.2, 0.8, 3)
    return lambda p: np.tile(colour, (len(p), 1))


PAINTS = {"spots": spots, "strokes of a pen": strokes, "one colour": one_colour}


def coloured(scene: Scene, paint: Paint, light: str, rng: np.random.Generator) -> list[Scan]:
    side = np.array([0.75, 0.45, 0.3])
    lamps = SIDES if light == "scanner" else (side, scene.twin @ side * [1, 1, -1])
    found = []
    for view, up, lamp in zip(scene.seen, SIDES, lamps, strict=True):
        way = np.asarray(lamp) / np.linalg.norm(lamp)
        points = view.vertices_mm @ view.to_part[:3, :3].T + view.to_part[:3, 3]
        normals = _normals(view) @ view.to_part[:3, :3].T
        falls = np.maximum(normals @ way, 0.0)
        if light == "window":
            falls = falls * scene.free(points + 0.4 * normals, way)
        ambient, between = rng.uniform(0.2, 0.5), way + up
        glare = rng.uniform(0, 0.3) * np.maximum(normals @ between / np.linalg.norm(between), 0) ** rng.uniform(10, 60)
        linear = (paint(points) * (ambient + (1.2 - ambient) * falls)[:, None] + glare[:, None]) * rng.uniform(0.6, 1.1)
        linear = linear * (1 + rng.uniform(-0.06, 0.06, 3))
        grey = 255 * np.clip(linear, 0, 1) ** (1 / 2.2) + rng.normal(0, rng.uniform(1, 5), linear.shape)
        colours = np.clip(np.rint(grey), 0, 255).astype(np.uint8)
        found.append(replace(_scan(view), colours=colours))
    return found


def _normals(view: View) -> Array:
    a, b, c = (view.vertices_mm[view.faces[:, k]] for k in range(3))
    across = np.cross(b - a, c - a)
    total = np.stack([np.bincount(view.faces.ravel(), np.repeat(way, 3), len(view.vertices_mm)) for way in across.T], 1)
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def _scan(view: View) -> Scan:
    return scan_of(Mesh(view.vertices_mm, view.faces))


def off_mm(found: Placing, scene: Scene) -> float:
    """How far the way taken puts any point of the second view from where it belongs; a twin is wrong here."""
    first, second = scene.seen
    points = second.vertices_mm[np.unique(second.faces[second.is_part])]
    off = found.taken.poses[1] - np.linalg.inv(first.to_part) @ second.to_part
    return float(np.linalg.norm(points @ off[:3, :3].T + off[:3, 3], axis=1).max())


def main(first_seed: int, seeds: int) -> None:
    counts: dict[tuple[str, str], list[int]] = {}
    for seed in range(first_seed, first_seed + seeds):
        for name in (*SHAPES, "lid"):
            scene = lid(seed) if name == "lid" else small(name, seed)
            plain = scene.join([_scan(view) for view in scene.seen])
            print(f"{name} {seed}: no colours, {off_mm(plain, scene):.2f} mm, {'sure' if plain.sure else 'not sure'}")
            if plain.sure:
                continue
            for k, (paint, make) in enumerate(PAINTS.items()):
                for light in ("scanner", "window"):
                    rng = np.random.default_rng([seed, k, len(light)])
                    found = scene.join(coloured(scene, make(scene.size_mm, rng), light, rng))
                    off, row = off_mm(found, scene), counts.setdefault((paint, light), [0, 0, 0])
                    right = off < scene.right_mm
                    row[0], row[1], row[2] = (
                        row[0] + 1,
                        row[1] + (found.sure and right),
                        row[2] + (found.sure and not right),
                    )
                    print(f"  {paint}, {light}: {off:.2f} mm, {'sure' if found.sure else 'not sure'}", flush=True)
    print(
        "| paint | light | not sure by shape | sure and right by colour | sure and wrong |",
        "| --- " * 5 + "|",
        sep="\n",
    )
    for (paint, light), row in counts.items():
        print(f"| {paint} | {light} | {' | '.join(map(str, row))} |")


if __name__ == "__main__":
    asked = argparse.ArgumentParser()
    asked.add_argument("first_seed", type=int)
    asked.add_argument("seeds", type=int)
    told = asked.parse_args()
    main(told.first_seed, told.seeds)
