"""What every correction of one part costs together: `python -m tests.benchmarks.all_corrections [SPACING_MM [SEED]]`.

A swing bar of the gate with powder and a scale error: both taken off, three bores rebuilt, mirrored, made 100 mm
longer, engraved, stood the best way up under its load, enlarged against shrinkage and looked through before printing,
all by one sheet. 0.15 mm between points gives a million triangles.
"""

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from inbox_demo import simulated
from inbox_demo.simulated import Shape
from tests.correcting.reshaping.shapes import draw_bar
from tests.rulebook.shop import shipped_rules
from verifier.correcting import (
    choose_resting,
    enlargement,
    load_direction,
    plan_print,
    rebuild_bores,
    reshape,
    separate_scale_from_coat,
    true_copy,
    upright_bores,
)
from verifier.finding import find_features
from verifier.measuring import measure
from verifier.mending.check import judge_as_written
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh
from verifier.rulebook import Sheet, SheetRow, making_of
from verifier.rulebook.reshape_row import Reshape

SCALE, COAT_MM = 1.004, 0.06
Made = TypeVar("Made")


def swing_bar() -> Shape:
    """The draw bar with a third bore between the other two."""
    bar = draw_bar()

    def distance(p: Array) -> Array:
        return simulated.cut(bar.distance(p), simulated.bore(p, (20, 0), 5.0))

    return replace(bar, name="swing_bar", distance=distance, truth=bar.truth | {"middle": 5.0, "front to middle": 20.0})


def sheet() -> Sheet:
    """Calliper readings of all sizes, and all that is wanted."""
    rows = (
        SheetRow(name="front", kind="bore", gauged="inside jaws", reading=8.0, use="true"),
        SheetRow(name="rear", kind="bore", gauged="inside jaws", reading=6.0, use="slides", screw="M5"),
        SheetRow(name="middle", kind="bore", gauged="inside jaws", reading=5.0, use="drill"),
        SheetRow(name="front to rear", kind="centre distance", between=("front", "rear"), reading=90.0),
        SheetRow(name="front to middle", kind="centre distance", between=("front", "middle"), reading=20.0),
        SheetRow(name="length", kind="overall", along="length", reading=110.0),
        SheetRow(name="width", kind="overall", along="width", reading=20.0),
        SheetRow(name="height", kind="overall", along="height", reading=12.0),
        SheetRow(name="body", kind="thickness", reading=8.0),
    )
    wanted = (
        Reshape(do="mirror"),
        Reshape(do="lengthen", by=100.0, between=("front", "rear")),
        Reshape(do="engrave", text="Bar R2", face="top"),
    )
    return Sheet(part="swing_bar", load="between front and rear", size=rows, reshape=wanted)


class Clock:
    """CPU seconds of every step as it ends."""

    def __init__(self) -> None:
        self.total_s = 0.0

    def step(self, name: str, work: Callable[[], Made]) -> Made:
        begin = time.process_time()
        made = work()
        spent = time.process_time() - begin
        self.total_s += spent
        print(f"{spent:5.2f} s  {name}", flush=True)
        return made


def main() -> None:
    spacing_mm = float(sys.argv[1]) if len(sys.argv) > 1 else 0.15
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 9900
    scan = simulated.scan(
        swing_bar(), spacing_mm=spacing_mm, seed=seed, correlated_mm=0.01, scale=SCALE, coat_mm=COAT_MM
    )
    solid = Solid(Mesh(scan.vertices_mm, scan.faces), np.zeros(len(scan.faces), dtype=np.uint8))
    print(f"{len(scan.faces):,} triangles")
    known, rules = sheet(), shipped_rules()
    making, found = making_of(known, rules), find_features(solid)
    sizes = measure(found, known, rules)
    clock = Clock()
    correction = clock.step(
        "scale and coat told apart", lambda: separate_scale_from_coat(sizes, known, rules, found.noise)
    )
    copy = clock.step("scale and coat taken off", lambda: true_copy(solid, correction, found))
    load = load_direction(known, found, sizes)
    resting = clock.step("way up", lambda: choose_resting(copy, found, known, making.printer, load))
    up = resting.turn[2]
    upright = upright_bores(found, up)
    work = clock.step(
        "three bores", lambda: rebuild_bores(copy, found, sizes, making.holes, correction, making.printer, upright)
    )
    larger = enlargement(making.filament)
    done = clock.step(
        "mirrored, longer, engraved",
        lambda: reshape(work.solid, work.of_copy, found, sizes, correction, known, making.printer, up, larger),
    )
    plan = clock.step(
        "stood up, enlarged, looked through",
        lambda: plan_print(work.solid, found, known, rules, making.filament, making.printer, work.bores, resting, done),
    )
    print(f"{clock.total_s:5.2f} s  together")
    left = [bore.why_not for bore in work.bores if not bore.made] + [
        told.why_not for told in done.told if not told.made
    ]
    print("; ".join(left) or f"all made, and {judge_as_written(plan.mesh).sentence}")


if __name__ == "__main__":
    main()
