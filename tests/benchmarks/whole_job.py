"""What `check` costs from file to written reports, by number of triangles: `python -m tests.benchmarks.whole_job`.

Each size runs in a process of its own: wall and CPU seconds, the largest memory, and the seconds of every stage.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import psutil

from inbox_demo import simulated
from verifier.shipped import demo_folder

SHEET = demo_folder() / "sheets" / "latch_lever.toml"
# Point spacing that gives about so many triangles on the gate-latch lever.
SPACINGS_MM = {100_000: 0.42, 200_000: 0.30, 500_000: 0.19, 1_000_000: 0.135, 2_000_000: 0.095}
POLL_S = 0.05


def export(folder: Path, spacing_mm: float) -> Path:
    """A scan with eight holes and ten specks, corners not shared."""
    found = simulated.scan(simulated.latch_lever(), spacing_mm=spacing_mm, seed=5, correlated_mm=0.01)
    faces = simulated.with_holes(found.faces, found.vertices_mm, count=8, across_mm=2.0, seed=3)
    vertices, faces = simulated.with_specks(found.vertices_mm, faces, count=10, across_mm=1.0, seed=2)
    scan = folder / "latch_lever.stl"
    scan.write_bytes(simulated.stl_bytes(vertices, faces))
    return scan


def measured(scan: Path, out: Path) -> tuple[float, float, dict[str, object]]:
    """CPU seconds, peak MiB and the report of one `check`."""
    cpu_s, peak_mib = cost_of("check", scan, "--sheet", SHEET, "--out", out)
    return cpu_s, peak_mib, json.loads((out / "latch_lever.report.json").read_text(encoding="utf-8"))


def cost_of(*words: object) -> tuple[float, float]:
    """CPU seconds and peak MiB of `verifier WORDS…` in a process of its own."""
    with subprocess.Popen(
        [sys.executable, "-m", "verifier", *map(str, words)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as running:
        watched, peak, cpu = psutil.Process(running.pid), 0, 0.0
        while running.poll() is None:
            try:
                peak = max(peak, watched.memory_info().rss)
                times = watched.cpu_times()
                cpu = times.user + times.system
                running.wait(POLL_S)
            except (psutil.NoSuchProcess, subprocess.TimeoutExpired):
                continue
    return cpu, peak / 2**20


def main() -> None:
    sizes = []
    for spacing_mm in SPACINGS_MM.values():
        with tempfile.TemporaryDirectory() as folder:
            scan = export(Path(folder), spacing_mm)
            cpu_s, peak_mib, report = measured(scan, Path(folder) / "out")
        triangles, seconds = report["scan"]["triangles"], report["seconds"]
        sizes.append((triangles, cpu_s))
        stages = ", ".join(f"{stage} {spent:.1f}" for stage, spent in seconds.items())
        print(
            f"{triangles:>9,} {report['verdict']}: {cpu_s:.1f} CPU s, {peak_mib:.0f} MiB; wall s: {stages}", flush=True
        )
    triangles, cpu = np.log(np.array(sizes, dtype=float)).T
    print(f"grows as n^{np.polyfit(triangles, cpu, 1)[0]:.2f}")


if __name__ == "__main__":
    main()
