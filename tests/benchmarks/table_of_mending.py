"""Fault by size over four parts, beside the plain script: `python tests/benchmarks/table_of_mending.py --help`.

Truth is the part before the fault. `away` is how far mended surface beside every fault lies from it; `moved` the share
of corners there that are not the scan's to the bit; `lost` the share of the scan's corners there that did not come out;
a bore is `shut` where some of its wall was in the scan, and `swallowed` where none was: nobody can know of it;
`MiB` the most memory: from half a million faces on of a process that has only the scan's file, reading it included, and
below with the harness's own two or three copies of the mesh in it.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from functools import lru_cache
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import faults
import igl
import manifold3d
import numpy as np
from bench_mending import forget_peak, peak_mib
from faulty_cases import FAULTS, Case
from mended_alone import Alone, made_of, mended_alone

from inbox_demo.simulated import stl_bytes
from verifier.errors import CannotMend
from verifier.freed_memory import keep_freed_memory
from verifier.mending.check import judge_as_written
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh, face_areas_mm2, volume_mm3

PARTS = {make.__name__: make for make in faults.ALL_PARTS}
LEAST_SEEN = 0.01  # of a bore's wall; less is one ragged row of faces
ON_WALL_MM = 0.1  # the parts' own roughness and their chords
OWN_PROCESS_FACES = 500_000  # from here on every row runs alone and is mended by file, so that the peak is its own


@dataclass(frozen=True)
class Row:
    """What one way made of one case."""

    closed: bool
    away_mm: float
    moved: float
    lost: float
    bores_shut: int
    swallowed: int
    walls_lost: int
    volume_error: float
    cpu_s: float
    wall_s: float
    peak_mib: float
    refused: str = ""


@lru_cache
def refined(name: str, faces: int) -> Mesh:
    """A part with every face cut alike until it has about so many, roughened there; it crosses itself nowhere.

    By 3 microns, less where a face is so low that it would fold over: at 3.7 million 69 faces ran through others.
    """
    part = PARTS[name]().mesh
    times = max(1, round((faces / len(part.faces)) ** 0.5))
    if times == 1:
        return part
    solid = manifold3d.Manifold(manifold3d.Mesh64(part.vertices_mm, part.faces.astype(np.uint64)))
    made = solid.refine(times).to_mesh64()
    points, faces = np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64)
    rough = np.random.default_rng(0).normal(0.0, 0.003, points.shape)
    room = least_heights_mm(Mesh(points, faces)) / 5.0
    rough *= np.minimum(1.0, room / np.maximum(np.linalg.norm(rough, axis=1), 1e-12))[:, None]
    mesh = Mesh((points + rough).astype(np.float32).astype(np.float64), faces)
    if len(crossing_pairs(mesh)):
        raise ValueError(f"{name} of {faces} faces runs through itself before anything was done to it")
    return mesh


def least_heights_mm(mesh: Mesh) -> np.ndarray:
    """Height of the lowest face at every corner."""
    sides = np.linalg.norm(mesh.corners_mm - np.roll(mesh.corners_mm, 1, axis=1), axis=2)
    heights = 2.0 * face_areas_mm2(mesh) / sides.max(axis=1)
    least = np.full(len(mesh.vertices_mm), np.inf)
    np.minimum.at(least, mesh.faces.ravel(), np.repeat(heights, 3))
    return least


def case_of(name: str, fault: str, faces: int, seed: int) -> tuple[Mesh, Case]:
    mesh = refined(name, faces)
    rng = np.random.default_rng([seed, list(PARTS).index(name), list(FAULTS).index(fault)])
    return mesh, FAULTS[fault](PARTS[name](), mesh, rng)


def row_of(name: str, fault: str, faces: int, seed: int, way: str) -> Row:
    whole, case = case_of(name, fault, faces, seed)
    done = by_file(case, way) if faces >= OWN_PROCESS_FACES else here(case, way)
    if done.mesh is None:
        return Row(False, 0, 0, 0, 0, 0, 0, 0, done.cpu_s, done.wall_s, done.peak_mib, done.refused)
    return judged(whole, case, done, PARTS[name]())


def by_file(case: Case, way: str) -> Alone:
    """By a process that has nothing but the scan's file."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "scan.stl"
        file.write_bytes(stl_bytes(case.mesh.vertices_mm, case.mesh.faces))
        return mended_alone(file, way)


def here(case: Case, way: str) -> Alone:
    """In this process: quicker, but the harness's own two or three copies of the mesh are in its peak."""
    scan = faults.scan_of(faults.unwelded(case.mesh))
    keep_freed_memory()  # as the commands do
    forget_peak()
    started = time.process_time(), time.perf_counter()
    try:
        made, refused = made_of(scan, way), ""
    except CannotMend as refusal:
        made, refused = None, refusal.what
    return Alone(made, refused, *since(started), peak_mib())


def since(started: tuple[float, float]) -> tuple[float, float]:
    """CPU and wall seconds."""
    return time.process_time() - started[0], time.perf_counter() - started[1]


def judged(whole: Mesh, case: Case, done: Alone, part: faults.Part) -> Row:
    made = done.mesh
    corners = made.vertices_mm[np.unique(made.faces)]
    apart = corners[case.away(corners)]
    of_scan = np.unique(case.mesh.vertices_mm[np.unique(case.mesh.faces)].astype(np.float32), axis=0)
    away_mm = np.sqrt(igl.point_mesh_squared_distance(apart, whole.vertices_mm, whole.faces)[0]) if len(apart) else [0]
    of_part = whole.vertices_mm[case.away(whole.vertices_mm)]
    air = igl.fast_winding_number(made.vertices_mm, made.faces, points_in(part)) > 0.5
    closed = air.reshape(part.bores, -1).any(axis=1)
    seen = np.array([share_of_wall_seen(whole, case.mesh, axis) for axis in np.split(points_in(part), part.bores)])
    walls = igl.fast_winding_number(made.vertices_mm, made.faces, np.array(part.in_walls_mm)) < 0.5
    return Row(
        judge_as_written(made).sound and len(crossing_pairs(made)) == 0,
        float(np.max(away_mm)),
        share_unknown(apart, of_scan),
        share_unknown(of_part[known(of_part, of_scan)], corners),
        int((closed & (seen >= LEAST_SEEN)).sum()),
        int((closed & (seen < LEAST_SEEN)).sum()),
        int(walls.sum()),
        volume_mm3(made) / volume_mm3(whole) - 1.0 if case.volume_known else np.nan,
        done.cpu_s,
        done.wall_s,
        done.peak_mib,
    )


def points_in(part: faults.Part) -> np.ndarray:
    return np.array(part.in_bores_mm)


def share_of_wall_seen(whole: Mesh, scan: Mesh, on_axis_mm: np.ndarray) -> float:
    """How much of an upright bore's wall is in the scan: the wall is what is nearest to its axis."""
    radius = np.sqrt(igl.point_mesh_squared_distance(on_axis_mm, whole.vertices_mm, whole.faces)[0].min())
    turn = np.radians(np.arange(0.0, 360.0, 5.0))
    spokes = radius * np.column_stack([np.cos(turn), np.sin(turn), 0.0 * turn])
    on_wall = (on_axis_mm[:, None] + spokes).reshape(-1, 3)
    off_mm = np.sqrt(igl.point_mesh_squared_distance(on_wall, scan.vertices_mm, scan.faces)[0])
    return float((off_mm < ON_WALL_MM).mean())


def share_unknown(points: np.ndarray, among: np.ndarray) -> float:
    return 0.0 if len(points) == 0 else 1.0 - float(known(points, among).mean())


def known(points: np.ndarray, among: np.ndarray) -> np.ndarray:
    """Which points are among others, bit for bit as 32-bit floats."""
    rows = [
        np.ascontiguousarray(each.astype(np.float32) + np.float32(0)).view("V12").ravel() for each in (points, among)
    ]
    return np.isin(rows[0], rows[1])


def rows_of(names: Sequence[str], fault: str, faces: int, seeds: Sequence[int], way: str) -> list[Row]:
    if faces < OWN_PROCESS_FACES:
        return [row_of(name, fault, faces, seed, way) for name in names for seed in seeds]
    told = []
    for name in names:
        asked = [sys.executable, __file__, "--row", name, fault, str(faces), str(seeds[0]), way]
        answer = subprocess.run(asked, capture_output=True, text=True, check=True)
        told.append(eval(answer.stdout, {"Row": Row, "nan": np.nan}))
    return told


def line(fault: str, faces: int, way: str, rows: Sequence[Row]) -> str:
    done = [row for row in rows if not row.refused]
    head = f"| {fault} | {faces // 1000} k | {way} | {sum(row.closed for row in done)}/{len(rows)}"
    refused = len(rows) - len(done)
    if not done:
        return f"{head} | all {refused} refused |"
    away, moved, lost = (max(getattr(row, key) for row in done) for key in ("away_mm", "moved", "lost"))
    volume = np.abs([row.volume_error for row in done])
    error = "" if np.isnan(volume).all() else f"{100 * np.nanmax(volume):.3f} %"
    return (
        f"{head} | {refused or ''} | {away:.3f} | {100 * moved:.2f} % | {100 * lost:.2f} %"
        f" | {sum(row.bores_shut for row in done)} | {sum(row.swallowed for row in done)}"
        f" | {sum(row.walls_lost for row in done)} | {error}"
        f" | {np.mean([row.cpu_s for row in rows]):.1f} | {np.mean([row.wall_s for row in rows]):.1f}"
        f" | {max(row.peak_mib for row in rows):.0f} |"
    )


COLUMNS = [
    "fault",
    "faces",
    "way",
    "closed",
    "refused",
    "away mm",
    "moved",
    "lost",
    "bores shut",
    "swallowed",
    "walls lost",
    "volume",
    "CPU s",
    "wall s",
    "MiB",
]
HEAD = f"| {' | '.join(COLUMNS)} |\n|{' --- |' * len(COLUMNS)}"


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--sizes", nargs="+", type=int, default=[50_000])
    asked.add_argument("--faults", nargs="+", default=list(FAULTS), choices=list(FAULTS))
    asked.add_argument("--parts", nargs="+", default=list(PARTS), choices=list(PARTS))
    asked.add_argument("--ways", nargs="+", default=["staged", "plain"])
    asked.add_argument("--seeds", nargs="+", type=int, default=[1])
    asked.add_argument("--each", action="store_true", help="a line for every part and seed as well")
    asked.add_argument("--row", nargs=5, help="one row, as the table's own processes ask for it")
    chosen = asked.parse_args()
    if chosen.row:
        name, fault, faces, seed, way = chosen.row
        print(repr(row_of(name, fault, int(faces), int(seed), way)))
        return
    print(HEAD, flush=True)
    for faces in chosen.sizes:
        for fault in chosen.faults:
            for way in chosen.ways:
                rows = rows_of(chosen.parts, fault, faces, chosen.seeds, way)
                if chosen.each:
                    for key, row in zip(((n, s) for n in chosen.parts for s in chosen.seeds), rows, strict=False):
                        print("   ", *key, *(f"{x:.4g}" if isinstance(x, float) else x for x in astuple(row)))
                print(line(fault, faces, way, rows), flush=True)


if __name__ == "__main__":
    main()
