"""From a file to a scan in millimetres: the whole of the reading room."""

from pathlib import Path

from verifier.mesh import Mesh
from verifier.reading.checks import checked, refuse_far_corners
from verifier.reading.file_bytes import take_bytes
from verifier.reading.formats import format_of
from verifier.reading.scan import Scan, Source
from verifier.reading.unit import settle_unit
from verifier.rulebook.rules import Rules
from verifier.rulebook.sheet import Sheet


def read_scan(path: Path, rules: Rules, sheet: Sheet | None = None) -> Scan:
    """Read an export: take its bytes once, know its format, check its triangles, settle its unit.

    Raises CannotOpen, TooLarge, Truncated, NotAMesh, Malformed, NoTriangles, UnitUnclear.
    """
    limits = rules.acceptance.reading
    file = take_bytes(path, limits.max_file_bytes)
    format_ = format_of(file.data, file.name)
    raw = checked(format_.read(file.data, file.name, limits), file.name, limits)
    unit, notices = settle_unit(raw, sheet, rules.acceptance.expectation, file.name)
    vertices = raw.vertices if unit.factor_mm == 1.0 else raw.vertices * unit.factor_mm
    mesh = Mesh(vertices, raw.faces)
    refuse_far_corners(mesh, limits, file.name)
    source = Source(file.name, file.sha256, len(file.data), format_.name)
    return Scan(mesh, unit, source, raw.notices + notices, raw.colours)
