"""Parts that nobody designed, drawn anew for each seed, from a faulty export to the verdict.

`python -m tests.benchmarks.drawn_parts 20 [FIRST_SEED]` prints a line a part and a table a kind of size. A part is a
plate or a lever with bores, a hub, an upright wall with a bore across, a slot; its export has scatter, powder, a scale
error, a unit nobody names, holes, specks, flipped and doubled faces. Its sheet has readings good to a calliper. With
`--fused` the export is fused of depth pictures (see `fused_depths`), without powder or scale error.
"""

import argparse
import tempfile
import traceback
from collections.abc import Callable
from pathlib import Path

import numpy as np

from inbox_demo import simulated as sim
from inbox_demo.simulated.faults import with_doubled, with_flipped, with_holes, with_specks
from tests.benchmarks.fused_depths import fused, print_table
from verifier.errors import VerifierError
from verifier.inspected import inspect_file
from verifier.mesh import Array
from verifier.shipped import rules_folder

UNITS = {"mm": 1.0, "cm": 0.1, "inch": 1.0 / 25.4, "m": 0.001}
OFF = 3.0


class Drawn:
    """A part drawn at random: its distance, its box and the rows of its sheet with their true sizes."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.rows: list[tuple[str, dict[str, object], float]] = []
        self.cuts: list[Callable[[Array], Array]] = []
        self.solids: list[Callable[[Array], Array]] = []
        long, thick = rng.uniform(45, 120), rng.uniform(4, 11)
        wide = rng.uniform(0.3, 0.6) * long
        self.high_mm = thick
        self.ends = (-0.5 * wide, long - 0.5 * wide)
        lever = rng.random() < 0.5
        self._plate(long, wide, thick, lever=lever)
        self._bores(long, wide, thick)
        if not lever and rng.random() < 0.5:
            self._upright(long, wide, thick)
        if rng.random() < 0.4:
            self._hub(wide, thick)
        if rng.random() < 0.4:
            self._slot(long, wide)
        self.wide_mm = wide
        boxed = zip(("length", "width", "height"), sorted((long, wide, self.high_mm), reverse=True), strict=True)
        for name, size in boxed:
            self._row(name, "overall", size, along=name)

    def _row(self, name: str, kind: str, size_mm: float, **keys: object) -> None:
        self.rows.append((name, {"kind": kind, **keys}, size_mm))

    def _plate(self, long: float, wide: float, thick: float, *, lever: bool) -> None:
        if lever:
            small = wide * self.rng.uniform(0.5, 0.9)
            far = long - 0.5 * wide - 0.5 * small
            self.solids.append(lambda p: _slabbed(sim.tapered_bar(p, (0, 0), (far, 0), wide / 2, small / 2), p, thick))
        else:
            middle = (0.5 * long - 0.5 * wide, 0.0)
            self.solids.append(lambda p: _slabbed(sim.box2(p, middle, (long, wide)), p, thick))
        self._row("plate", "thickness", thick)

    def _bores(self, long: float, wide: float, thick: float) -> None:
        self.first = float(self.rng.uniform(0.25, 0.45) * wide)
        places, sizes = [0.0], [self.first]
        room = long - 1.35 * wide
        for k in range(int(self.rng.integers(1, 3))):
            at = room if k == 0 else 0.5 * room + self.rng.uniform(-3, 3)
            size = float(self.rng.uniform(3.0, 0.3 * wide))
            if all(abs(at - other) > 0.5 * (size + o) + 4.0 for other, o in zip(places, sizes, strict=True)):
                places.append(float(at))
                sizes.append(size)
        for k, (at, size) in enumerate(zip(places, sizes, strict=True)):
            self.cuts.append(lambda p, at=at, size=size: sim.bore(p, (at, 0.0), size))
            self._row(f"bore {k}", "bore", size)
            if k:
                self._row(f"0 to {k}", "centre distance", at, between=["bore 0", f"bore {k}"])
        self.places, self.sizes = places, sizes

    def _upright(self, long: float, wide: float, thick: float) -> None:
        wall, high, end = self.rng.uniform(3, 7), thick + self.rng.uniform(12, 25), self.ends[1]
        across = float(self.rng.uniform(4, 8))
        up = thick + 0.55 * (high - thick)
        self.solids.append(
            lambda p: sim.intersect(
                sim.slab(p[:, 0], end - wall, end), sim.slab(p[:, 1], -wide / 2, wide / 2), sim.slab(p[:, 2], 0.0, high)
            )
        )
        through = sim.slab
        self.cuts.append(
            lambda p: np.maximum(
                np.hypot(p[:, 1], p[:, 2] - up) - across / 2, through(p[:, 0], end - wall - 4, end + 4)
            )
        )
        self._row("cross bore", "bore", across)
        self._row("wall", "thickness", wall)
        self.high_mm = max(self.high_mm, high)

    def _hub(self, wide: float, thick: float) -> None:
        across, high = self.first + self.rng.uniform(5, 8), thick + self.rng.uniform(2, 10)
        self.solids.append(lambda p: sim.intersect(sim.disc(p, (0, 0), across / 2), sim.slab(p[:, 2], 1.0, high)))
        if across < 0.95 * wide:
            self._row("hub", "boss", across)
        self.high_mm = max(self.high_mm, high)

    def _slot(self, long: float, wide: float) -> None:
        size, run = float(self.rng.uniform(3, 6)), float(self.rng.uniform(6, 12))
        middle, clear = 0.25 * (long - 1.35 * wide) + 0.1 * wide, 0.5 * run + size
        if any(abs(middle - at) < clear + 0.5 * s + 3 for at, s in zip(self.places, self.sizes, strict=True)):
            return
        ends = ((middle - run / 2, 0.0), (middle + run / 2, 0.0))
        self.cuts.append(lambda p: sim.tapered_bar(p, *ends, size / 2, size / 2 - 1e-9))
        self._row("slot", "slot width", size)

    def distance(self, p: Array) -> Array:
        solid = sim.unite(*(solid(p) for solid in self.solids))
        for tool in self.cuts:
            solid = sim.cut(solid, tool(p))
        return solid

    @property
    def shape(self) -> sim.Shape:
        w = self.wide_mm / 2 + 1
        low, high = (self.ends[0] - 1, -w, -1.0), (self.ends[1] + 1, w, self.high_mm + 1)
        return sim.Shape("drawn", self.distance, low, high)


def _slabbed(outline: Array, p: Array, thick: float) -> Array:
    return sim.intersect(outline, sim.slab(p[:, 2], 0.0, thick))


def sheet_text(drawn: Drawn) -> str:
    lines = ['part = "drawn"']
    for name, keys, size in drawn.rows:
        reading = round(size + drawn.rng.normal(scale=0.01), 2)
        lines += ["", "[[size]]", f'name = "{name}"', f"reading = {reading}", "tolerance = 0.3"]
        lines += [f"{key} = {value!r}".replace("'", '"') for key, value in keys.items()]
    return "\n".join(lines) + "\n"


def export(drawn: Drawn, seed: int) -> tuple[bytes, str]:
    rng = drawn.rng
    unit = str(rng.choice(list(UNITS), p=[0.6, 0.15, 0.15, 0.1]))
    scale, coat = 1.0 + rng.uniform(-0.006, 0.006), rng.uniform(0.0, 0.08)
    spacing = float(np.clip(rng.uniform(0.35, 0.7) * (drawn.ends[1] - drawn.ends[0]) / 70.0, 0.35, 0.9))
    scatter = {"white_mm": rng.uniform(0.005, 0.04), "correlated_mm": rng.uniform(0.0, 0.03)}
    scan = sim.scan(drawn.shape, spacing_mm=spacing, seed=seed, coat_mm=coat, scale=scale, **scatter)
    points, faces = scan.vertices_mm, scan.faces
    faces = with_holes(faces, points, count=int(rng.integers(0, 5)), across_mm=float(rng.uniform(1, 6)), seed=seed)
    points, faces = with_specks(points, faces, count=int(rng.integers(0, 8)), across_mm=1.0, seed=seed)
    if rng.random() < 0.3:
        faces = with_flipped(faces, share=0.02, seed=seed)
    if rng.random() < 0.3:
        faces = with_doubled(faces, count=40, seed=seed)
    if rng.random() < 0.15:
        faces = faces[:, ::-1]
    told = f"{unit}, scale {scale:.4f}, coat {coat:.3f}, spacing {spacing:.2f}, {len(faces)} faces"
    return sim.stl_bytes(points * UNITS[unit], faces), told


def fused_export(drawn: Drawn, seed: int) -> tuple[bytes, str]:
    cell_mm = float(np.clip(drawn.rng.uniform(0.35, 0.6) * (drawn.ends[1] - drawn.ends[0]) / 70.0, 0.35, 0.7))
    mesh = fused(drawn.shape, cell_mm, drawn.rng)
    return sim.stl_bytes(mesh.vertices_mm, mesh.faces), f"cells of {cell_mm:.2f} mm, {len(mesh.faces)} faces"


def one(seed: int, *, of_pictures: bool) -> list[tuple[str, float, float]]:
    """Kind, error and stated standard uncertainty of every corrected size of one part."""
    drawn = Drawn(np.random.default_rng(seed))
    text = sheet_text(drawn)
    data, told = fused_export(drawn, seed) if of_pictures else export(drawn, seed)
    with tempfile.TemporaryDirectory() as folder:
        scan, sheet = Path(folder) / "drawn.stl", Path(folder) / "drawn.toml"
        scan.write_bytes(data)
        sheet.write_text(text, encoding="utf-8")
        try:
            inspection = inspect_file(scan, rules_folder(), sheet_file=sheet).inspection
        except VerifierError as refusal:
            print(f"{seed}: REFUSED {refusal}; {told}", flush=True)
            return []
        except Exception:  # noqa: BLE001  every other end is a defect that the run is there to show
            print(f"{seed}: BROKE; {told}\n{traceback.format_exc()}", flush=True)
            return []
    truth = {name: (str(keys["kind"]), size) for name, keys, size in drawn.rows}
    found = [
        (truth[s.name][0], s.corrected_mm - truth[s.name][1], 0.5 * s.expanded_uncertainty_mm, s.name)
        for s in inspection.sizes
        if s.corrected_mm is not None and s.expanded_uncertainty_mm
    ]
    unsure = [f"{s.name}: {s.verdict} {s.reason}" for s in inspection.sizes if s.verdict != "PASS"]
    off = [f"{n} {e:+.3f} (u {u:.3f})" for _, e, u, n in found if abs(e) > OFF * u]
    why = unsure or (inspection.verdict != "PASS" and inspection.reasons)
    print(f"{seed}: {inspection.verdict}; {told}; off {off}; {why or ''}", flush=True)
    return [(kind, e, u) for kind, e, u, _ in found]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    parser.add_argument("first_seed", type=int, nargs="?", default=100)
    parser.add_argument("--fused", action="store_true")
    asked = parser.parse_args()
    seeds = range(asked.first_seed, asked.first_seed + asked.count)
    found = [told for seed in seeds for told in one(seed, of_pictures=asked.fused)]
    print_table(found)


if __name__ == "__main__":
    main()
