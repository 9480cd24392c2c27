"""The scan of a print on its way into the house: its sheet, what it should be, and what is known of the scanner."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from verifier.comparing.reference import Reference
from verifier.errors import UnknownName
from verifier.last_result import LastResult, last_result_beside, print_wanted
from verifier.mesh import Mesh
from verifier.reading import read_scan
from verifier.reading.scan import Scan
from verifier.referring import reference_for
from verifier.rulebook import Rules, Sheet, filament_for
from verifier.rulebook.print_sheet import sheet_of_print

# How much a scanner's scale wanders between two scans, as a standard uncertainty; common practice, no source.
U_DRIFT = 0.0005


@dataclass(frozen=True, slots=True)
class PrintScanned:
    """The scan of a print with all it is judged by.

    scan : in millimetres, the scanner's known scale error taken out
    sheet : every row with the size the print should have
    rules : expecting of the scale what the part's last result says of it
    reference : the mesh it was printed from, or what was asked for; None where there is neither
    """

    scan: Scan
    sheet: Sheet
    rules: Rules
    reference: Reference | None


def print_scanned(
    path: Path, sheet: Sheet | None, part: str, rules: Rules, filament: str | None, asked: Path | None
) -> PrintScanned:
    """Read the scan of a print, and gather what it should be.

    filament : what it was printed in, in place of the sheet's
    asked : a file to compare it with, in place of the mesh of the part's last result
    Raises UnknownName for a part without a sheet, and VerifierError of every kind.
    """
    if sheet is None:
        do = f"Check the scan of the original first, and fill in the sheet that is drafted for '{part}'"
        raise UnknownName(f"there is no sheet of '{part}' to judge its print by", where=path.name, do=do)
    last = last_result_beside(rules, part)
    changes_mm = None if last is None else last.changes_mm
    wanted = sheet_of_print(sheet, rules, filament_for(sheet, rules, filament), changes_mm)
    scan = read_scan(path, rules, wanted)
    if asked is not None:
        reference = reference_for(scan, wanted, rules, asked)
    else:
        reference = None if last is None else print_wanted(last, rules)
    if last is not None:
        scan, rules = _with_known_scale(scan, rules, last)
    return PrintScanned(scan, wanted, rules, reference)


def _with_known_scale(scan: Scan, rules: Rules, last: LastResult) -> tuple[Scan, Rules]:
    """A print has no readings to find the scale by; the readings of the original have told it of the same scanner."""
    known = last.inspection.scale
    u = float(np.hypot(known.standard_uncertainty, U_DRIFT))
    expectation = rules.acceptance.expectation
    if u >= expectation.u_scale:
        return scan, rules
    notice = (
        f"The scanner's scale is taken from the part's last result, {known.factor:.4f} ± {2 * u:.4f}: scan the print "
        "with the scanner that the original was scanned with."
    )
    acceptance = rules.acceptance.model_copy(update={"expectation": expectation.model_copy(update={"u_scale": u})})
    mesh = Mesh(scan.mesh.vertices_mm / known.factor, scan.mesh.faces)
    return replace(scan, mesh=mesh, notices=(*scan.notices, notice)), replace(rules, acceptance=acceptance)
