"""What the whole job of two sides of a large part costs, from the two files to the written reports.

python -m tests.benchmarks.joining_job [TRIANGLES_A_SIDE] [--profile]
"""

import cProfile
import json
import pstats
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from inbox_demo.simulated.files import ply_bytes
from tests.benchmarks.whole_job import Cost, cost_of
from tests.joining import views
from verifier.delivery import write_delivery
from verifier.inspected import inspect_file
from verifier.part_scans import scans_of_part
from verifier.shipped import rules_folder

SHEET = """
part = "seat_panel"

[[size]]
name = "length"
kind = "overall"
along = "length"
reading = 1300.0

[[size]]
name = "thickest"
kind = "thickness"
reading = 50.0
"""
SEED = 8800
# Spacing near the rim and further in that give about so many triangles a side.
SPACINGS_MM = {100_000: (2.0, 5.0), 300_000: (1.17, 2.9), 1_200_000: (0.58, 1.45)}


def export(folder: Path, triangles: int) -> tuple[list[Path], int]:
    """Two scans of a seat panel 1.2 m long, and how many triangles they are together."""
    rng = np.random.default_rng(SEED)
    spacing, inner = SPACINGS_MM[triangles]
    fault = views.random_fault(rng, spacing_mm=spacing, inner_mm=inner, noise_mm=0.04)
    files, count = [], 0
    for k, side in enumerate((1, -1), 1):
        seen = views.view(views.seat_panel(), side, fault, rng)
        files.append(folder / f"seat_panel.{k}.ply")
        files[-1].write_bytes(ply_bytes(seen.vertices_mm, seen.faces))
        count += len(seen.faces)
    (folder / "seat_panel.toml").write_text(SHEET, encoding="utf-8")
    return files, count


def measured(files: list[Path], folder: Path) -> Cost:
    """What one `check` takes."""
    return cost_of("check", *files, "--sheet", folder / "seat_panel.toml", "--out", folder / "out")


def profiled(files: list[Path], folder: Path) -> None:
    """Where the CPU seconds go, in this process."""
    watch = cProfile.Profile(time.process_time)
    watch.enable()
    delivered = inspect_file(scans_of_part(files), rules_folder(), sheet_file=folder / "seat_panel.toml")
    write_delivery(delivered, folder / "out")
    watch.disable()
    pstats.Stats(watch).sort_stats("cumulative").print_stats("verifier", 70)


def main(triangles: int, *, profile: bool) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        files, count = export(folder, triangles)
        if profile:
            profiled(files, folder)
            return
        cost = measured(files, folder)
        report = json.loads((folder / "out" / "seat_panel.report.json").read_text(encoding="utf-8"))
        stages = ", ".join(f"{stage} {spent:.1f}" for stage, spent in report["seconds"].items())
        print(f"{count:,} triangles, {report['verdict']}: {cost}; wall s: {stages}")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    main(numbers[0] if numbers else 300_000, profile="--profile" in sys.argv)
