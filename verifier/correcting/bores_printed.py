"""The drill list: what every bore will be on the print, and what brings it to its size."""

from dataclasses import dataclass

import numpy as np

from verifier.correcting.bores import RebuiltBore
from verifier.correcting.bores_seat import SeatCut
from verifier.correcting.copied_features import copied_cylinder
from verifier.correcting.correction import Correction
from verifier.correcting.printing import PrintPlan
from verifier.finding.feature import Cylinder, Features
from verifier.rulebook.holes import drill_for

# Nearer to its size than this no drill makes a bore better: they come in tenths.
WORTH_DRILLING_MM = 0.05
# A seat looks up or down where its axis stands within 20 degrees of upright.
UPRIGHT_COS = 0.94


@dataclass(frozen=True, slots=True)
class BoreOnPrint:
    """One bore as it will be printed.

    rebuilt : what became of it where the sheet wants it rebuilt; None where it is kept
    printed_mm, u_mm : diameter and its standard uncertainty; None for a filled bore
    drill_mm : drill or reamer that brings it to its size; None where there is nothing to bring it to
    note : what to know before it is used, sentences
    """

    bore: Cylinder
    rebuilt: RebuiltBore | None
    printed_mm: float | None
    u_mm: float | None
    drill_mm: float | None
    note: str

    @property
    def is_filled(self) -> bool:
        """It has to be drilled, or there is no hole."""
        return self.rebuilt is not None and self.rebuilt.made and self.printed_mm is None


def bores_on_print(found: Features, correction: Correction, plan: PrintPlan) -> tuple[BoreOnPrint, ...]:
    """Every bore that was found, in the order found."""
    by_feature = {bore.feature: bore for bore in plan.bores}
    return tuple(_on_print(bore, by_feature.get(bore.name), correction, plan) for bore in found.bores)


def _on_print(bore: Cylinder, rebuilt: RebuiltBore | None, correction: Correction, plan: PrintPlan) -> BoreOnPrint:
    upright = bore.name in plan.upright_bores
    if rebuilt is None or rebuilt.why_not:
        copy_mm = on_copy_mm(bore, correction)
        printed_mm, u_mm = _printed(copy_mm, bore.u_diameter_mm, plan, upright=upright)
        drill_mm = drill_for(copy_mm) if copy_mm - printed_mm > WORTH_DRILLING_MM else None
        return BoreOnPrint(bore, rebuilt, printed_mm, u_mm, drill_mm, _note_of_kept(bore, rebuilt, drill_mm))
    if rebuilt.on_copy_mm is None:
        note = " ".join(("A mark in every mouth shows its middle.", *rebuilt.hole.notes))
        return BoreOnPrint(bore, rebuilt, None, None, rebuilt.hole.drill_mm, note)
    ends = "It prints open at both ends." if rebuilt.through else "It prints open at one end."
    note = " ".join((ends, *_seat(rebuilt, bore, plan), *rebuilt.hole.notes, *_too_shallow(rebuilt)))
    printed_mm, u_mm = _printed(rebuilt.on_copy_mm, 0.0, plan, upright=upright)
    if not upright:
        note += " It prints lying, and its roof may hang: drill it to its size."
    return BoreOnPrint(bore, rebuilt, printed_mm, u_mm, rebuilt.hole.drill_mm, note)


def _seat(rebuilt: RebuiltBore, bore: Cylinder, plan: PrintPlan) -> tuple[str, ...]:
    """What its mouth has, with the finished sizes, and which way that looks on the printer."""
    if rebuilt.seat is None:
        return ()
    cut, seat = rebuilt.seat, rebuilt.seat.seat
    where = f" on {cut.face}" if cut.face else ""
    width = f"{seat.across_mm:.2f} mm across" + (" its flats" if seat.form == "hexagon" else "")
    left = f"{rebuilt.depth_mm or 0.0:.1f} mm are left beneath"
    return (f"{seat.noun}{where}{_looks(cut, bore, plan)}: {width}, {seat.deep_mm:.1f} mm deep; {left}.",)


def _looks(cut: SeatCut, bore: Cylinder, plan: PrintPlan) -> str:
    """Which of two like faces it is, told by how the part lies on the printer."""
    rise = cut.mouth.outward * float(bore.axis @ plan.build_direction)
    return " (prints facing up)" if rise > UPRIGHT_COS else " (prints facing the bed)" if rise < -UPRIGHT_COS else ""


def _too_shallow(rebuilt: RebuiltBore) -> tuple[str, ...]:
    depth_mm = rebuilt.depth_mm or 0.0
    return (f"The bore is only {depth_mm:.1f} mm deep.",) if depth_mm < rebuilt.hole.least_depth_mm else ()


def on_copy_mm(bore: Cylinder, correction: Correction) -> float:
    """Diameter of a bore that was kept, on the copy: wider by the coat on both walls, where the copy is without it."""
    return copied_cylinder(bore, correction).diameter_mm


def _printed(copy_mm: float, u_copy_mm: float, plan: PrintPlan, *, upright: bool) -> tuple[float, float]:
    """The same figures as for a row of the sheet: shrinkage is taken back, and upright holes lose the allowance."""
    u_ratio = plan.u_shrink_xy / (1.0 - plan.shrink_xy)
    if upright:
        u_mm = np.linalg.norm([u_copy_mm, copy_mm * u_ratio, plan.printer.u_hole_mm])
        return copy_mm - plan.printer.hole_allowance_mm, float(u_mm)
    u_ratio = max(u_ratio, plan.u_shrink_z / (1.0 - plan.shrink_z))
    return copy_mm, float(np.hypot(u_copy_mm, copy_mm * u_ratio))


def _note_of_kept(bore: Cylinder, rebuilt: RebuiltBore | None, drill_mm: float | None) -> str:
    said = (
        "" if rebuilt is None else f"It could not be rebuilt: {rebuilt.why_not}.",
        "Open at both ends."
        if bore.through
        else "Closed at one end or on the way: drill it through if it should be open.",
        "" if bore.axis_held == "own" else f"Too little depth was seen: it is taken as square to {bore.axis_held}.",
        "" if rebuilt is not None or drill_mm is None else 'A line use = "true" in its row has it printed at its size.',
    )
    return " ".join(part for part in said if part)
