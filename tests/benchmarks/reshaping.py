"""CPU seconds of every reshaping on a simulated draw bar: `python -m tests.benchmarks.reshaping [SPACING_MM]`.

0.14 mm between points gives a million triangles. Checking that the part is closed in its file is part of each.
"""

import sys
import time

from tests.correcting.reshaping.shapes import made
from tests.rulebook.shop import shipped_rules
from verifier.correcting.print_checks import check_print
from verifier.mesh import Mesh

WANTED: tuple[dict[str, object], ...] = (
    {"do": "mirror"},
    {"do": "lengthen", "by": 100.0, "between": ("front", "rear")},
    {"do": "thicken", "by": 2.0, "face": "top"},
    {"do": "true up"},
    {"do": "restore", "across": "length"},
    {"do": "cut", "between": ("front", "rear"), "at": (45.0,)},
    {"do": "cut", "between": ("front", "rear"), "at": (45.0,), "joint": "key"},
    {"do": "engrave", "text": "Bar R2", "face": "top"},
)


def main() -> None:
    spacing_mm = float(sys.argv[1]) if len(sys.argv) > 1 else 0.14
    part = made("draw_bar", spacing_mm=spacing_mm)
    print(f"{len(part.mesh.faces):,} triangles")
    for wanted in WANTED:
        begin = time.process_time()
        told = made("draw_bar", wanted, spacing_mm=spacing_mm).after.told[0]
        print(f"{time.process_time() - begin:5.2f} s  {wanted['do']}: {told.said or told.why_not}", flush=True)
    at = part.in_part_mm(part.mesh.vertices_mm)
    begin = time.process_time()
    check_print(Mesh(at - at.min(axis=0), part.mesh.faces), shipped_rules().printers[0])
    print(f"{time.process_time() - begin:5.2f} s  looked through before printing")


if __name__ == "__main__":
    main()
