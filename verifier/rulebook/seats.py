"""The seat a row of the sheet wants at a bore's mouth, its sizes looked up in the rules."""

from dataclasses import dataclass

from verifier.errors import UnknownName
from verifier.rulebook.mistakes import shown
from verifier.rulebook.rules import Rules
from verifier.rulebook.seat_row import SeatForm
from verifier.rulebook.sheet import SheetRow


@dataclass(frozen=True, slots=True)
class Seat:
    """A seat for a screw's head, or a pocket for its nut, finished.

    across_mm : diameter at the face, or across the flats of a hexagon
    deep_mm : of its floor under the face; of a cone, from its widest to the bore
    least_floor_mm : what has to be left beneath
    on : the flat face it opens on, None where the bore has one mouth
    """

    form: SeatForm
    screw: str
    across_mm: float
    deep_mm: float
    least_floor_mm: float
    on: str | None
    source: str

    @property
    def sinks(self) -> str:
        """What goes in."""
        return "nut" if self.form == "hexagon" else "head"

    @property
    def noun(self) -> str:
        """What it is called, at the start of a sentence."""
        return {"countersunk": "Countersink", "counterbored": "Counterbore", "hexagon": "Nut pocket"}[self.form]

    @property
    def in_words(self) -> str:
        """'counterbored for its head'."""
        return "with a hexagon for its nut" if self.form == "hexagon" else f"{self.form} for its head"


def wanted_seat(row: SheetRow, hole_mm: float, rules: Rules, where: str) -> Seat | None:
    """The seat of a row whose screw slides through a hole of this size; None where none is asked for.

    Raises UnknownName at `where` for a screw without such a seat in the rules.
    """
    if row.seat is None:
        return None
    found = next((each for each in rules.seat_sizes if (each.form, each.screw) == (row.seat, row.screw)), None)
    if found is None:
        screws = ", ".join(each.screw for each in rules.seat_sizes if each.form == row.seat)
        do = f"Take seat out, or add a row [[seat]] to screws.toml (it has {screws or 'none of this form'})"
        raise UnknownName(f"there is no seat {shown(row.seat)} for {shown(row.screw or '')}", where=where, do=do)
    across_mm = round(found.across_mm + found.clearance_mm, 3)
    deep_mm = round(found.deep_mm(across_mm, hole_mm), 3)
    return Seat(row.seat, found.screw, across_mm, deep_mm, found.least_floor_mm, row.seat_on, found.source)
