"""Mends a file in a process of its own and says what that cost: `python tests/benchmarks/mended_alone.py FILE WAY OUT`.

WAY is 'staged' or 'plain'; OUT, an .npz, gets the surface. Nothing is in this process but the file, what reads it and
what mends it: its peak is that of the work (Linux). The seconds are those of mending, the file read already.
"""

import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from verifier.errors import CannotMend
from verifier.freed_memory import keep_freed_memory
from verifier.mending import mend
from verifier.mesh import Mesh
from verifier.reading import Scan, read_scan
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder


@dataclass(frozen=True)
class Alone:
    """What a process of its own made of a file; no mesh where it was refused."""

    mesh: Mesh | None
    refused: str
    cpu_s: float
    wall_s: float
    peak_mib: float


def mended_alone(file: Path, way: str) -> Alone:
    """Have a file mended in a process of its own."""
    out = file.with_suffix(".npz")
    subprocess.run([sys.executable, __file__, file, way, out], check=True)
    with np.load(out) as told:
        mesh = Mesh(told["vertices_mm"], told["faces"]) if "faces" in told else None
        return Alone(mesh, str(told["refused"]), *told["costs"].tolist())


def plainly(mesh: Mesh) -> Mesh:
    """What a plain script does: weld with trimesh, repair all with pymeshfix."""
    import pymeshfix
    import trimesh

    welded = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    welded.merge_vertices()
    fixed = pymeshfix.MeshFix(np.asarray(welded.vertices), np.asarray(welded.faces).astype(np.int32))
    fixed.repair()
    return Mesh(np.asarray(fixed.points, dtype=np.float64), np.asarray(fixed.faces).astype(np.int64))


def made_of(scan: Scan, way: str) -> Mesh:
    """The closed surface. Raises CannotMend."""
    return mend(scan).mesh if way == "staged" else plainly(scan.mesh)


def peak_mib() -> float:
    """The most memory this process ever held; what resource tells would be its parent's, if that was more."""
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(float(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024


def main() -> None:
    file, way, out = sys.argv[1:]
    keep_freed_memory()  # as the commands do
    scan = read_scan(Path(file), load_rules(rules_folder()))
    started, refused, found = (time.process_time(), time.perf_counter()), "", {}
    try:
        made = made_of(scan, way)
        found = {"vertices_mm": made.vertices_mm, "faces": made.faces}
    except CannotMend as refusal:
        refused = refusal.what
    spent = time.process_time() - started[0], time.perf_counter() - started[1]
    np.savez(out, refused=refused, costs=[*spent, peak_mib()], **found)


if __name__ == "__main__":
    main()
