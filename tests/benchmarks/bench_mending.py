"""Mending of a million faces on one core: `python tests/benchmarks/bench_mending.py`, seconds a stage and peak memory.

Also how the plain script fares that a person would write: weld with trimesh, repair all of it with pymeshfix.
"""

import argparse
import os
import sys
import time
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import cProfile
import pstats

import faults
import manifold3d
import numpy as np
import psutil
import pymeshfix
import trimesh

from verifier.mending import mend
from verifier.mesh import Mesh

STAGES = (
    "weld_equal",
    "drop_doubled_faces",
    "close_seams",
    "remove_debris_and_fins",
    "make_faces_agree",
    "settle_pieces",
    "drop_inner_shells",
    "split_bow_ties",
    "zip_facing_rims",
    "fill_holes",
    "mend_crossings",
    "crossing_pairs",
    "without_flat_faces",
    "judge_as_written",
    "_kernel_verdict",
)


def fine_part(refine: int) -> Mesh:
    """The latch lever with every face cut into refine x refine, roughened by 3 microns."""
    part = faults.latch_lever().mesh
    solid = manifold3d.Manifold(manifold3d.Mesh64(part.vertices_mm, part.faces.astype(np.uint64)))
    made = solid.refine(refine).to_mesh64()
    points, faces = np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64)
    points = points + np.random.default_rng(0).normal(0.0, 0.003, points.shape)
    return Mesh(points.astype(np.float32).astype(np.float64), faces)


def with_many_faults(mesh: Mesh) -> Mesh:
    rng = np.random.default_rng(1)
    for _ in range(40):
        mesh = faults.with_hole(mesh, faults.some_place(mesh, rng), rng.uniform(0.4, 2.0))
    mesh = faults.with_flipped(mesh, rng.random(len(mesh.faces)) < 0.002)
    mesh = faults.with_duplicates(mesh, rng, 300)
    for face in rng.integers(0, len(mesh.faces) - 400, 20):
        mesh = faults.with_fin(mesh, int(face))
    for at in (8.0, 14.0, 26.0, 37.0):
        mesh = faults.with_fold(mesh, np.array([at, 12.5, 5.0]), 0.4)
    return faults.with_specks(mesh, rng, 200)


def timed_mend(mesh: Mesh) -> None:
    profile = cProfile.Profile()
    started = time.process_time()
    profile.enable()
    solid = mend(faults.scan_of(mesh))
    profile.disable()
    took = time.process_time() - started
    print(f"  staged {took:6.2f} CPU s, {len(solid.mesh.faces)} faces, volume {solid.volume_mm3:.2f} mm3")
    for step in solid.steps:
        print(f"    {step.what}: {step.count}")
    seconds = {key[2]: value[3] for key, value in pstats.Stats(profile).stats.items()}
    for stage in STAGES:
        if stage in seconds:
            print(f"    {seconds[stage]:6.2f} s  {stage}")


def timed_plain(mesh: Mesh) -> None:
    started = time.process_time()
    welded = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    welded.merge_vertices()
    fixed = pymeshfix.MeshFix(np.asarray(welded.vertices), np.asarray(welded.faces).astype(np.int32))
    fixed.repair()
    print(f"  plain  {time.process_time() - started:6.2f} CPU s, {len(fixed.faces)} faces")


def peak_mib() -> float:
    memory = psutil.Process().memory_info()
    return float(getattr(memory, "peak_wset", 0) or _peak_of_unix()) / 2**20


def forget_peak() -> None:
    """The peak counts from here on. Only Linux can; elsewhere what was made before counts too."""
    asked = Path("/proc/self/clear_refs")
    if asked.exists():
        asked.write_text("5")


def _peak_of_unix() -> int:
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024


def main() -> None:
    chosen = argparse.ArgumentParser(description=__doc__)
    chosen.add_argument("case", choices=["clean", "faulty"])
    chosen.add_argument("--refine", type=int, default=5, help="5 gives 0.92 million faces, 7 gives 1.8")
    chosen.add_argument("--plain", action="store_true", help="the plain script instead")
    asked = chosen.parse_args()
    mesh = fine_part(asked.refine)
    mesh = faults.unwelded(with_many_faults(mesh) if asked.case == "faulty" else mesh)
    print(f"{asked.case}: {len(mesh.faces)} faces, {peak_mib():.0f} MiB before")
    (timed_plain if asked.plain else timed_mend)(mesh)
    print(f"  peak {peak_mib():.0f} MiB")


if __name__ == "__main__":
    main()
