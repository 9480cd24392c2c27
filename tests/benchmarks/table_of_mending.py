"""Fault by size: `python tests/benchmarks/table_of_mending.py 50000 [200000 1000000]`, beside the plain script.

Every row runs in a process of its own, so that the peak memory is its own. Seeds are in FAULTS. The volume is compared
with the part's before the fault: a shift of 0.1 mm between passes, a gap of 0.4 mm and a table change it by themselves.
"""

import os
import subprocess
import sys
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import faults
import numpy as np
import pymeshfix
import trimesh
from bench_mending import fine_part, peak_mib, with_many_faults

from verifier.errors import CannotMend
from verifier.mending import Solid, mend
from verifier.mending.check import judge_as_written
from verifier.mesh import Mesh, volume_mm3


def with_holes(mesh: Mesh, seed: int) -> Mesh:
    rng = np.random.default_rng(seed)
    for _ in range(40):
        mesh = faults.with_hole(mesh, faults.some_place(mesh, rng), rng.uniform(0.4, 1.6))
    return mesh


def in_partial_passes(mesh: Mesh, seed: int) -> Mesh:
    return faults.in_two_partial_passes(mesh, np.random.default_rng(seed), 0.1, 6.0).mesh


FAULTS = {
    "clean": lambda mesh: mesh,
    "40 holes, seed 11": lambda mesh: with_holes(mesh, 11),
    "many local faults, seed 1": with_many_faults,
    "full double layer": lambda mesh: faults.in_two_passes(mesh, 0.1),
    "partial passes, seed 13": lambda mesh: in_partial_passes(mesh, 13),
    "partial passes and many, seed 14": lambda mesh: with_many_faults(in_partial_passes(mesh, 14)),
    "halves 0.4 mm apart": lambda mesh: faults.in_two_halves(mesh, 27.0, 0.4),
    "on a table": lambda mesh: faults.on_a_table(mesh, 5.0),
}


def plainly(mesh: Mesh) -> Mesh:
    welded = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    welded.merge_vertices()
    fixed = pymeshfix.MeshFix(np.asarray(welded.vertices), np.asarray(welded.faces).astype(np.int32))
    fixed.repair()
    return Mesh(np.asarray(fixed.points, dtype=np.float64), np.asarray(fixed.faces).astype(np.int64))


def share_kept(before: Mesh, after: Mesh) -> float:
    """Share of the corners that came out and were in the scan, bit for bit as 32-bit floats."""
    known = {row.tobytes() for row in before.vertices_mm.astype(np.float32)}
    return float(np.mean([row.tobytes() in known for row in after.vertices_mm.astype(np.float32)]))


def row(fault: str, size: int, way: str) -> str:
    whole = fine_part(max(1, round((size / 36_752) ** 0.5)))
    scan = faults.unwelded(FAULTS[fault](whole))
    started = time.process_time()
    try:
        made = mend(faults.scan_of(scan)).mesh if way == "staged" else plainly(scan)
    except CannotMend as refused:
        return f"refused after {time.process_time() - started:.1f} s: {refused.what[:60]}"
    took, peak = time.process_time() - started, peak_mib()
    corners, edges = len(np.unique(made.faces)), 3 * len(made.faces) // 2
    bores = 1 - (corners - edges + len(made.faces)) / 2
    error = 100.0 * (volume_mm3(made) / volume_mm3(whole) - 1.0)
    bodies = Solid(made, np.zeros(len(made.faces), dtype=np.uint8)).bodies
    closed = "closed" if judge_as_written(made).sound else "OPEN"
    moved = 100.0 * (1.0 - share_kept(scan, made))
    return (
        f"{closed:7}{error:+8.3f} % volume {3 - bores:+4.0f} bores shut {bodies:3} bodies"
        f" {moved:6.2f} % new or moved {took:7.1f} CPU s {peak:6.0f} MiB"
    )


def main() -> None:
    if len(sys.argv) == 5 and sys.argv[1] == "row":
        print(row(sys.argv[2], int(sys.argv[3]), sys.argv[4]))
        return
    for size in map(int, sys.argv[1:]):
        for fault in FAULTS:
            for way in ("staged", "plain"):
                asked = [sys.executable, __file__, "row", fault, str(size), way]
                told = subprocess.run(asked, capture_output=True, text=True, check=False)
                said = told.stdout.strip() or told.stderr.strip().splitlines()[-1]
                print(f"{size:8} {fault:33} {way:7} {said}", flush=True)


if __name__ == "__main__":
    main()
