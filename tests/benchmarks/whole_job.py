"""What `check` costs from file to written reports, by number of triangles: `python -m tests.benchmarks.whole_job`.

Each size runs in a process of its own: CPU seconds, seconds by the clock until the verdict stands in the terminal and
until the reports are written, the largest memory, and the seconds of every stage.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import numpy as np
import psutil

from inbox_demo import simulated
from verifier.shipped import demo_folder

SHEET = demo_folder() / "sheets" / "latch_lever.toml"
# Point spacing that gives about so many triangles on the gate-latch lever.
SPACINGS_MM = {100_000: 0.42, 200_000: 0.30, 500_000: 0.19, 1_000_000: 0.135, 2_000_000: 0.095}
POLL_S = 0.05


@dataclass(frozen=True, slots=True)
class Cost:
    """What one command took; verdict_s and written_s by the clock, until its first word and until its end."""

    cpu_s: float
    peak_mib: float
    verdict_s: float
    written_s: float

    def __str__(self) -> str:
        by_clock = f"verdict after {self.verdict_s:.1f} s, all written after {self.written_s:.1f} s"
        return f"{self.cpu_s:.1f} CPU s, {by_clock}, {self.peak_mib:.0f} MiB"


def export(folder: Path, spacing_mm: float) -> Path:
    """A scan with eight holes and ten specks, corners not shared."""
    found = simulated.scan(simulated.latch_lever(), spacing_mm=spacing_mm, seed=5, correlated_mm=0.01)
    faces = simulated.with_holes(found.faces, found.vertices_mm, count=8, across_mm=2.0, seed=3)
    vertices, faces = simulated.with_specks(found.vertices_mm, faces, count=10, across_mm=1.0, seed=2)
    scan = folder / "latch_lever.stl"
    scan.write_bytes(simulated.stl_bytes(vertices, faces))
    return scan


def measured(scan: Path, out: Path) -> tuple[Cost, dict[str, object]]:
    """What one `check` took, and its report."""
    cost = cost_of("check", scan, "--sheet", SHEET, "--out", out)
    return cost, json.loads((out / "latch_lever.report.json").read_text(encoding="utf-8"))


def cost_of(*words: object) -> Cost:
    """What `verifier WORDS…` takes in a process of its own."""
    begin = time.perf_counter()
    with (
        ThreadPoolExecutor(1) as beside,
        subprocess.Popen(
            [sys.executable, "-m", "verifier", *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        ) as running,
    ):
        first_word = beside.submit(_first_word, running.stdout)
        watched, peak, cpu = psutil.Process(running.pid), 0, 0.0
        while running.poll() is None:
            try:
                peak = max(peak, watched.memory_info().rss)
                times = watched.cpu_times()
                cpu = times.user + times.system
                running.wait(POLL_S)
            except (psutil.NoSuchProcess, subprocess.TimeoutExpired):
                continue
        written = time.perf_counter()
        return Cost(cpu, peak / 2**20, first_word.result() - begin, written - begin)


def _first_word(said: IO[bytes]) -> float:
    """When the first byte came, by the clock; all that follows is read and left."""
    said.read(1)
    now = time.perf_counter()
    said.read()
    return now


def main() -> None:
    sizes = []
    for spacing_mm in SPACINGS_MM.values():
        with tempfile.TemporaryDirectory() as folder:
            scan = export(Path(folder), spacing_mm)
            cost, report = measured(scan, Path(folder) / "out")
        triangles, seconds = report["scan"]["triangles"], report["seconds"]
        sizes.append((triangles, cost.cpu_s))
        stages = ", ".join(f"{stage} {spent:.1f}" for stage, spent in seconds.items())
        print(f"{triangles:>9,} {report['verdict']}: {cost}; wall s: {stages}", flush=True)
    triangles, cpu = np.log(np.array(sizes, dtype=float)).T
    print(f"grows as n^{np.polyfit(triangles, cpu, 1)[0]:.2f}")


if __name__ == "__main__":
    main()
