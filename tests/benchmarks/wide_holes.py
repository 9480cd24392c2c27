"""How far the true surface lies from what fills a wide hole: `python tests/benchmarks/wide_holes.py 99100 99108`.

A line for each of four parts: holes of 3, 5 and 10 % of the surface, wherever they fall, one of each for every seed.
"""

import os
import sys
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent.parent / "mending"))

import faults
import igl
import numpy as np
from faulty_cases import large_hole

from verifier.mending import mend
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh, face_areas_mm2

SHARES = (0.03, 0.05, 0.10)
FAR_MM = 0.3


def one(part: faults.Part, rng: np.random.Generator, share: float) -> dict[str, float]:
    holed = large_hole(part, part.mesh, rng, share).mesh
    kept = {tuple(corners) for corners in holed.faces.tolist()}
    taken = Mesh(part.mesh.vertices_mm, part.mesh.faces[[tuple(f) not in kept for f in part.mesh.faces.tolist()]])
    solid = mend(faults.scan_of(faults.unwelded(holed)))
    squared = igl.point_mesh_squared_distance(faults.middles(taken), solid.mesh.vertices_mm, solid.mesh.faces)[0]
    off_mm, areas = np.sqrt(squared), face_areas_mm2(taken)
    euler = len(np.unique(solid.mesh.faces)) - len(solid.mesh.faces) // 2
    winding = [
        igl.fast_winding_number(solid.mesh.vertices_mm, solid.mesh.faces, np.array(places)) > 0.5
        for places in (part.in_bores_mm, part.in_walls_mm)
        if places
    ]
    return {
        "nine of ten mm": float(np.quantile(off_mm, 0.9)),
        "farthest mm": float(off_mm.max()),
        f"over {FAR_MM} mm, mm2": float(areas[off_mm > FAR_MM].sum()),
        "volume %": 100.0 * abs(solid.volume_mm3 / part.volume_mm3 - 1.0),
        "bores too many or few": abs(part.euler - euler) // 2,
        "in bores": int(winding[0].sum()),
        "walls lost": int((~winding[-1]).sum()) if part.in_walls_mm else 0,
        "crossing": len(crossing_pairs(solid.mesh)),
    }


def main() -> None:
    seeds = range(int(sys.argv[1]), int(sys.argv[2]))
    for k, make in enumerate(faults.ALL_PARTS):
        rows = [one(make(), np.random.default_rng([s, k, int(100 * x)]), x) for s in seeds for x in SHARES]
        told = [f"{name} {np.mean([row[name] for row in rows]):.3f}" for name in list(rows[0])[:2]]
        told += [f"{name} {sum(row[name] for row in rows):.1f}" for name in list(rows[0])[2:]]
        print(
            f"{make.__name__}, {len(rows)} holes: worst {max(r['farthest mm'] for r in rows):.2f} mm; {', '.join(told)}"
        )


if __name__ == "__main__":
    main()
