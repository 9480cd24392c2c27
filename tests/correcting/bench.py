"""A shop's rules and made-up scans of known scale and coat, for the tests of this room and of judging."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.made_up_rules import PRINTER, made_up_rules
from verifier.measuring.size import Size
from verifier.rulebook import reading_of
from verifier.rulebook.rules import Printer, Rules
from verifier.rulebook.sheet import Sheet, SheetRow

SCAN_U_MM = 0.015


def shop(printer: Printer = PRINTER, **decision: float) -> Rules:
    return made_up_rules(printer=printer, decision=decision)


@dataclass(frozen=True)
class Row:
    """One size of a made-up part; walls as in Size."""

    name: str
    kind: str
    true_mm: float
    walls: int


LEVER = (
    Row("overall", "overall", 82.0, 2),
    Row("between pivots", "centre distance", 54.0, 0),
    Row("thickness", "thickness", 8.0, 2),
    Row("pivot", "bore", 10.0, -2),
    Row("pin", "bore", 6.0, -2),
    Row("width", "overall", 28.0, 2),
    Row("hub", "boss", 20.0, 2),
    Row("pin to edge", "edge distance", 12.0, 1),
)


def sheet_for(
    part: Sequence[Row], readings: Sequence[float | None] | None = None, tolerance: float | None = 0.15, **more: object
) -> Sheet:
    given = [row.true_mm for row in part] if readings is None else readings
    return Sheet(
        part="latch_lever",
        size=tuple(
            SheetRow(
                name=row.name,
                kind=row.kind,
                reading=reading,
                tolerance=tolerance,
                between=("pivot", "pin") if row.kind == "centre distance" else None,
                of="pin" if row.kind == "edge distance" else None,
                gauged="pin" if row.kind == "bore" else None,
            )
            for row, reading in zip(part, given, strict=True)
        ),
        **more,
    )


def scanned(part: Sequence[Row], scale: float = 1.0, coat_mm: float = 0.0, errors: object = 0.0) -> tuple[Size, ...]:
    """What a scan of this scale and coat would measure, with the given error on each size."""
    each = np.broadcast_to(np.asarray(errors, dtype=float), len(part))
    return tuple(
        Size(
            name=row.name,
            measured_mm=float(scale * row.true_mm + row.walls * coat_mm + error),
            u_mm=SCAN_U_MM,
            walls=row.walls,
            features=(),
            points_mm=np.array([[0.0, 0.0, 0.0], [row.true_mm, 0.0, 0.0]]),
        )
        for row, error in zip(part, each, strict=True)
    )


def reading_u_mm(part: Sequence[Row]) -> np.ndarray:
    """Standard uncertainty of the reading of each size of a part, as the rulebook states it."""
    sheet, rules = sheet_for(part), shop()
    return np.array([reading_of(row, sheet, rules).u for row in sheet.rows])
