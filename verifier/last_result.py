"""The last result of a part on its bench: what its print should be, as a mesh and as figures."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from pydantic import ValidationError

from verifier.bench.layout import open_bench
from verifier.comparing.reference import Reference
from verifier.finding import find_features
from verifier.inspection import Inspection, PrintTable
from verifier.mending import mend
from verifier.mesh import Mesh
from verifier.reading import read_scan
from verifier.rulebook import Rules


@dataclass(frozen=True, slots=True)
class LastResult:
    """A report and the mesh that lies beside it; None for a cut part, whose pieces are meshes of their own."""

    inspection: Inspection
    mesh: Path | None

    @property
    def changes_mm(self) -> dict[str, float]:
        """How much larger each size was made on purpose, by row."""
        return {size.name: size.reshaped_by_mm for size in self.inspection.sizes}


def last_result_beside(rules: Rules, part: str) -> LastResult | None:
    """What the slicer folder of the bench whose rules these are has of the part, else what is held of it.

    None where there is no bench or no result; a report that cannot be read is none.
    """
    root = rules.folder.absolute().parent
    if not all((root / name).is_dir() for name in ("inbox", "held", "originals")):
        return None
    bench = open_bench(root)
    for folder in (bench.slicer, bench.held / part):
        report, mesh = folder / f"{part}.report.json", folder / f"{part}.3mf"
        if report.is_file():
            try:
                told = Inspection.model_validate_json(report.read_bytes())
            except (ValidationError, OSError):
                continue
            return LastResult(told, mesh if mesh.is_file() else None)
    return None


def print_wanted(last: LastResult, rules: Rules) -> Reference | None:
    """The mesh that was printed, less what it was enlarged against shrinkage: what the print should be when cold."""
    if last.mesh is None:
        return None
    scan = read_scan(last.mesh, rules, None)
    told = last.inspection.print
    left = 1.0 - np.array([told.shrink_xy, told.shrink_xy, told.shrink_z])
    solid = mend(replace(scan, mesh=Mesh(scan.mesh.vertices_mm * left, scan.mesh.faces)))
    return Reference(f"{last.mesh.name}, as it should be when cold{_of_bores(told)}", solid, find_features(solid))


def _of_bores(told: PrintTable) -> str:
    """Rebuilt bores are larger on the mesh than they come out, by what the printer closes them."""
    allowance = told.hole_allowance_mm
    return f" (rebuilt bores {allowance:.2f} mm larger, as drawn for the printer)" if allowance else ""
