"""The value that leaves the measuring room: one number for one row of the sheet, before any correction."""

from dataclasses import dataclass

from verifier.mesh import Array


@dataclass(frozen=True, slots=True)
class Size:
    """What the scan says about one row of the sheet.

    name : the row's name
    measured_mm : on the scan as it is (degrees for an angle); None when the row was not found
    u_mm : its standard uncertainty
    walls : coated walls the size crosses: +2 outside size or thickness, -2 bore, 0 centre distance or step, +-1 edge
        distance; the mouth of a countersink has a part of -2, see `sunk.mouth_walls`
    features : names of the features it was taken from
    points_mm : (k, 3) the two places (or more) it was taken between, for the callout
    seen_share : 0 to 1, how much of what it needs was really seen (arc of a bore, overlap of a thickness)
    alternatives_mm : other values that fit the sheet equally well and differ; not empty means a tie
    set_size : how many equal places the row stands for (a symmetric row is judged by its worst member)
    set_features : the features of all those places; empty where there is one place
    reason : why there is no value, or what to know about it
    do : what the person can do for a value, a sentence; empty for the usual: let the scanner see it
    fits_nothing : nothing of its kind that was found on the scan has the size that was read
    """

    name: str
    measured_mm: float | None
    u_mm: float
    walls: float
    features: tuple[str, ...]
    points_mm: Array
    seen_share: float = 1.0
    alternatives_mm: tuple[float, ...] = ()
    set_size: int = 1
    set_features: tuple[str, ...] = ()
    reason: str = ""
    do: str = ""
    fits_nothing: bool = False
