"""The sizes of a print that can be compared with the mesh it was printed from: plain numbers, no arrays."""

import math
from dataclasses import dataclass

from verifier.inspection import BoreTable, Inspection, Point, SizeTable
from verifier.powder import powder_mm
from verifier.rulebook.size_kinds import SHAPE_KINDS, SUNK


@dataclass(frozen=True, slots=True)
class PrintRow:
    """One row of the sheet as the mesh to print has it.

    model_mm, u_model_mm : size in the delivered mesh, enlarged against shrinkage, and its standard uncertainty
    expected_mm : what the print was predicted to measure
    rise : share of the size that stands along the build direction, squared direction cosine, 0 to 1
    walls : faces the size ends on, +2 outside, -2 inside, 0 centre distance or step, +-1 edge distance
    upright_hole : a bore that prints as round holes
    """

    name: str
    kind: str
    model_mm: float
    u_model_mm: float
    expected_mm: float
    rise: float
    walls: int
    upright_hole: bool


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A row and what was read on the print.

    read_mm, u_mm : the reading and its standard uncertainty, the calliper's and the gauge's corrections included
    """

    row: PrintRow
    read_mm: float
    u_mm: float


def print_rows(inspection: Inspection) -> tuple[PrintRow, ...]:
    """The rows that can be read on the print, in the order of the sheet.

    Left out: angles and deviations of form (shrinking turns and bends nothing much), countersinks and counterbores
    (their floors print bridged or on supports), rows not found, rows that
    stand for several equal places (nobody knows which of them is read), bores that print lying (their roofs sag) or are
    to be drilled, and all rows of a report that does not say which walls a size crosses.
    """
    return tuple(row for size in inspection.sizes if (row := _row_of(size, inspection)) is not None)


def _row_of(size: SizeTable, inspection: Inspection) -> PrintRow | None:
    if size.kind in (*SHAPE_KINDS, *SUNK) or size.set_size > 1 or size.walls is None or size.printed_mm is None:
        return None
    bore = next((each for each in inspection.bores if size.kind == "bore" and each.row == size.name), None)
    upright = bore is not None and bool(bore.upright)
    if size.kind == "bore" and not upright:
        return None
    copy_mm, u_mm = _on_copy(size, bore, inspection)
    rise = 0.0 if upright else _rise(_line_of(size, inspection), inspection.print.build_direction)
    return PrintRow(
        size.name,
        size.kind,
        copy_mm * _enlargement(rise, inspection),
        u_mm,
        size.printed_mm,
        rise,
        int(size.walls),
        upright,
    )


def _on_copy(size: SizeTable, bore: BoreTable | None, inspection: Inspection) -> tuple[float, float]:
    """The size in the mesh before it was enlarged, and its standard uncertainty.

    A rebuilt bore is as it was made; any other size is as scanned, less what was taken off the mesh, and as much larger
    as the sheet had it made.
    """
    if bore is not None and bore.rebuilt and bore.printed_diameter_mm is not None:
        return bore.printed_diameter_mm + inspection.print.hole_allowance_mm, 0.0
    value_mm, scale, coat = size.measured_mm or 0.0, inspection.scale, inspection.coat
    if coat.applied:
        inside_mm = coat.thickness_mm if coat.inside_mm is None else coat.inside_mm
        value_mm -= powder_mm(size.walls or 0.0, coat.thickness_mm, inside_mm)
    value_mm /= scale.factor if scale.applied else 1.0
    return value_mm + size.reshaped_by_mm, size.u_measured_mm or 0.0


def _enlargement(rise: float, inspection: Inspection) -> float:
    """How much longer a line of this rise was made: the square of a length is the sum over the axes."""
    in_layers = 1.0 / (1.0 - inspection.print.shrink_xy)
    upwards = 1.0 / (1.0 - inspection.print.shrink_z)
    return math.sqrt((1.0 - rise) * in_layers**2 + rise * upwards**2)


def _line_of(size: SizeTable, inspection: Inspection) -> Point:
    """The direction a size was taken in: an overall size ends on two places that need not lie opposite each other."""
    for feature in inspection.features:
        if feature.kind == "extent" and feature.name in size.features:
            return feature.direction
    if not size.points_mm:
        return 0.0, 0.0, 0.0
    (x0, y0, z0), (x1, y1, z1) = size.points_mm[0], size.points_mm[-1]
    return x1 - x0, y1 - y0, z1 - z0


def _rise(line: Point, up: Point) -> float:
    """Squared cosine between a direction and the build direction; 0 for no direction."""
    product = math.hypot(*line) * math.hypot(*up)
    along = sum(value * axis for value, axis in zip(line, up, strict=True))
    return min(1.0, (along / product) ** 2) if product > 0.0 else 0.0
