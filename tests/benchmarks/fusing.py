"""What fusing makes of posed scans of small parts, beside merely mending them together; poses 0.02 mm off.

python -m tests.benchmarks.fusing FIRST_SEED SEEDS [SPACING_MM]
"""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from inbox_demo import simulated
from inbox_demo.simulated.parts import Shape
from tests.joining.small_views import Placed, bore_mm, placed_views, rib_mm, ribbed_cover
from tests.joining.test_laid_together import scan_of
from verifier.errors import CannotMend
from verifier.joining.fusing import fuse
from verifier.joining.laid_together import laid_beside, placed
from verifier.joining.posed import SEAM, Fused
from verifier.mending import Origin, mend
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh, face_areas_mm2

UP, DOWN, SIDE, END = (0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)
VIEWS = {"2": (UP, DOWN), "3": (UP, DOWN, SIDE), "4": (UP, DOWN, SIDE, END)}


@dataclass(frozen=True)
class Part:
    """A part, its upright bores (place, diameter, from and to height), and whether it has a rib of 1 mm."""

    shape: Callable[[], Shape]
    bores: tuple[tuple[tuple[float, float], float, float, float], ...]
    rib: bool = False


PARTS = {
    "cover with 1 mm rib": Part(ribbed_cover, (((-17, 0), 8.0, 1, 5), ((17, 0), 6.0, 1, 5)), rib=True),
    "gate-latch lever": Part(simulated.latch_lever, (((0, 0), 10.0, 1, 11), ((60, 0), 6.0, 1, 7))),
    "feed-pump rocker": Part(
        simulated.pump_rocker, (((0, 0), 12.0, 1, 13), ((-48, 6), 5.0, 1, 9), ((36, 8), 5.5, 1, 13))
    ),
    "fence clip": Part(simulated.fence_clip, (((-16, 0), 4.2, 1, 8), ((-4, 5), 4.2, 1, 8))),
}


@dataclass(frozen=True)
class Row:
    """Largest error of the bores and of the rib, 99 % and the largest of all corners, mm; share filled; CPU seconds."""

    closed: bool
    bores_mm: float = 0.0
    rib_mm: float = 0.0
    p99_mm: float = 0.0
    largest_mm: float = 0.0
    filled: float = 0.0
    cpu_s: float = 0.0


def looked_at(part: Part, given: Placed, mesh: Mesh, begin: float) -> Row:
    """Mend and compare with the truth."""
    try:
        solid = mend(scan_of(mesh))
    except CannotMend:
        return Row(closed=False)
    spent = time.process_time() - begin
    points = given.in_part(solid.mesh.vertices_mm)
    off = np.abs(given.shape.distance(points))
    areas = face_areas_mm2(solid.mesh)
    return Row(
        len(crossing_pairs(solid.mesh)) == 0 and solid.bodies == 1,
        max(abs(bore_mm(points, at, about, low, high) - about) for at, about, low, high in part.bores),
        abs(rib_mm(points) - 1.0) if part.rib else 0.0,
        float(np.quantile(off, 0.99)),
        float(off.max()),
        float(areas[solid.origin == Origin.FILLED].sum() / areas.sum()),
        spent,
    )


def bits_kept(given: Placed, fused: Fused) -> bool:
    """Whether every corner of a face that a scan is named for is that scan's to the last bit."""
    for k, each in enumerate(given.posed):
        own = {point.tobytes() for point in placed(each).vertices_mm}
        if any(
            point.tobytes() not in own
            for point in fused.mesh.vertices_mm[fused.mesh.faces[fused.source_of_face == k]].reshape(-1, 3)
        ):
            return False
    return True


def told(rows: list[Row]) -> str:
    kept = [row for row in rows if row.closed] or [Row(closed=False)]
    closed = f"{sum(row.closed for row in rows)}/{len(rows)}"
    worst = (max(getattr(row, name) for row in kept) for name in ("bores_mm", "rib_mm", "p99_mm", "largest_mm"))
    filled, spent = max(row.filled for row in kept), np.mean([row.cpu_s for row in kept])
    return " | ".join([closed, *(f"{value:.3f}" for value in worst), f"{100 * filled:.2f} %", f"{spent:.1f}"])


def main(first_seed: int, seeds: int, spacing_mm: float) -> None:
    print("| part, views, triangles | how | closed | bores mm | rib mm | 99 % mm | largest mm | filled | CPU s |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- | --- |")
    for name, part in PARTS.items():
        for views, directions in VIEWS.items():
            before, after, band, bits, count = [], [], [], True, 0
            for seed in range(first_seed, first_seed + seeds):
                given = placed_views(part.shape(), directions, seed, spacing_mm=spacing_mm)
                count = sum(len(each.scan.mesh.faces) for each in given.posed)
                before.append(looked_at(part, given, laid_beside(given.posed), time.process_time()))
                begin = time.process_time()
                fused = fuse(given.posed)
                after.append(looked_at(part, given, fused.mesh, begin))
                band.append((fused.source_of_face == SEAM).mean())
                bits &= bits_kept(given, fused)
            what = f"{name}, {views}, {count:,}"
            print(f"| {what} | mended only | {told(before)} |")
            print(
                f"| {what} | fused, {100 * max(band):.0f} % seam, bits {'kept' if bits else 'LOST'} | {told(after)} |",
                flush=True,
            )


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]) if len(sys.argv) > 3 else 0.4)
