"""The unit of length of a file: stated by it, by the sheet, or the only one in which the part has its size."""

from dataclasses import dataclass

import numpy as np

from verifier.errors import UnitUnclear
from verifier.mesh import Array
from verifier.reading.extents import robust_extents
from verifier.reading.raw_mesh import RawMesh
from verifier.reading.scan import KnownBy, LengthUnit, UnitName
from verifier.rulebook.rules import Expectation
from verifier.rulebook.sheet import Sheet, SheetRow
from verifier.rulebook.size_kinds import IN_DEGREES

# 3MF core specification 1.4.0, unit attribute; the inch and the foot are exact since 1959.
FACTORS_MM: dict[UnitName, float] = {"micron": 0.001, "mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}
# Units an export without one may be in, likeliest first.
CANDIDATES: tuple[UnitName, ...] = ("mm", "cm", "m", "in")

# A file's longest side may be this many times the sheet's longest overall size. Below: a corner not scanned. Above: in
# a cube no direction is the longest, and the one found may be its diagonal, 1.73. The two multiply to under 2.54, so
# that a size which fits centimetres can never fit inches as well.
LEAST_RATIO, GREATEST_RATIO = 1 / 1.4, 1.75
# A support surface left under the part makes the scan larger than the part; beyond this it would be most of the scan.
GREATEST_RATIO_WITH_SUPPORT = 4.0
# Without an overall size: the longest length on the sheet, as a share of the diagonal of the scan.
LEAST_SHARE, GREATEST_SHARE = 0.25, 1.05


@dataclass(frozen=True, slots=True)
class SheetLength:
    """The sheet's length that the file's is compared with.

    length_mm : what the sheet says
    measured : the same length on the scan, in the file's unit
    least, greatest : ratio of scan to sheet that a sound scan has
    loose : ratio that a scan with its support surface may still have
    whole : whether it is a size of the whole part; any other says only how long the part is at least
    """

    length_mm: float
    measured: float
    least: float
    greatest: float
    loose: float
    whole: bool

    def ratio(self, unit: UnitName) -> float:
        """How many times the sheet's length the scan's is, were the file in this unit."""
        return self.measured * FACTORS_MM[unit] / self.length_mm

    def fits(self, unit: UnitName) -> bool:
        """Whether the part alone can be that long."""
        return self.least <= self.ratio(unit) <= self.greatest

    def fits_with_support(self, unit: UnitName) -> bool:
        """Whether the part with its support surface can be that long."""
        return self.least <= self.ratio(unit) <= self.loose

    def goes_into(self, unit: UnitName) -> bool:
        """Whether the scan has room for it."""
        return self.least <= self.ratio(unit)


def settle_unit(
    raw: RawMesh, sheet: Sheet | None, expectation: Expectation, where: str
) -> tuple[LengthUnit, tuple[str, ...]]:
    """Find the unit a file is in, and what is to be said about it.

    The sheet's word goes before the file's, since exporters write units nobody chose.
    Raises UnitUnclear when nothing fits, when more than one fits, or when what is stated does not fit the sizes.
    """
    extents = robust_extents(raw.vertices)
    length = _sheet_length(sheet, extents)
    stated, known_by = _stated(raw.unit, sheet)
    if stated is not None:
        notices = () if _written(sheet, length) else _refuse_contradiction(stated, known_by, length, where)
        return _unit(stated, known_by), notices + _disagreement(raw.unit, stated)
    if length is not None and (length.whole or any(map(length.fits, CANDIDATES))):
        return _by_sizes(length, where)
    return _by_plausibility(float(extents[0]), length, expectation, where)


def _unit(name: UnitName, known_by: KnownBy) -> LengthUnit:
    return LengthUnit(name, FACTORS_MM[name], known_by)


def _stated(in_file: UnitName | None, sheet: Sheet | None) -> tuple[UnitName | None, KnownBy]:
    on_sheet = sheet.unit if sheet else None
    if on_sheet is not None and on_sheet != in_file:
        return on_sheet, "sheet"
    return in_file, "file"


def _written(sheet: Sheet | None, length: SheetLength | None) -> bool:
    """Whether the person wrote a unit and no size speaks against it: a wall's thickness does not on a long part."""
    written = sheet.unit if sheet else None
    return written is not None and length is not None and not length.whole and length.goes_into(written)


def _disagreement(in_file: UnitName | None, stated: UnitName) -> tuple[str, ...]:
    if in_file in (None, stated):
        return ()
    return (f"The file says its unit is {in_file} and the sheet says {stated}: the sheet was believed.",)


def _sheet_length(sheet: Sheet | None, extents: Array) -> SheetLength | None:
    """The sheet's longest overall size, or else its longest length of any kind; None without any."""
    rows = sheet.rows if sheet else ()
    overall = _longest([row for row in rows if row.kind == "overall"])
    if overall is not None:
        which = ("length", "width", "height").index(overall.along or "length")
        measured = float(extents[which])
        return SheetLength(_said(overall), measured, LEAST_RATIO, GREATEST_RATIO, GREATEST_RATIO_WITH_SUPPORT, True)
    longest = _longest([row for row in rows if row.kind not in IN_DEGREES])
    if longest is None:
        return None
    diagonal = float(np.linalg.norm(extents))
    return SheetLength(_said(longest), diagonal, 1 / GREATEST_SHARE, 1 / LEAST_SHARE, 1 / LEAST_SHARE, False)


def _said(row: SheetRow) -> float:
    return row.reading or row.nominal or 0.0


def _longest(rows: list[SheetRow]) -> SheetRow | None:
    longest = max(rows, key=_said, default=None)
    return longest if longest and _said(longest) else None


def _refuse_contradiction(
    stated: UnitName, known_by: KnownBy, length: SheetLength | None, where: str
) -> tuple[str, ...]:
    if length is None or length.fits(stated):
        return ()
    others = [unit for unit in CANDIDATES if length.fits(unit)]
    if length.fits_with_support(stated) and not others:
        return (_larger_than_part(length, stated),)
    what = (
        f"the {known_by} says its unit is {stated}, in which its length of {_in(length.measured, stated)} does not go "
    )
    raise UnitUnclear(f"{what}with {length.length_mm:g} mm on the sheet", where=where, do=_put(others))


def _by_sizes(length: SheetLength, where: str) -> tuple[LengthUnit, tuple[str, ...]]:
    fitting = [unit for unit in CANDIDATES if length.fits(unit)]
    if len(fitting) == 1:
        return _unit(fitting[0], "sizes"), ()
    if fitting:
        return _tightest(length, fitting)
    loosely = [unit for unit in CANDIDATES if length.fits_with_support(unit)]
    if len(loosely) == 1:
        return _unit(loosely[0], "sizes"), (_larger_than_part(length, loosely[0]),)
    those = loosely
    fits = f"fits {' and '.join(those)}" if those else "fits neither mm, cm, m nor in"
    what = f"its length of {length.measured:.4g} beside {length.length_mm:g} mm on the sheet {fits}"
    raise UnitUnclear(what, where=where, do=_put(those))


def _tightest(length: SheetLength, fitting: list[UnitName]) -> tuple[LengthUnit, tuple[str, ...]]:
    """Without an overall size two units may fit; people measure what is long, so the smaller scan is taken.

    A wrong choice is found out later: in it every size is 2.5 times its reading, and the rows do not find their places.
    """
    unit = min(fitting, key=length.ratio)
    others = " or ".join(other for other in fitting if other != unit)
    said = (
        f"By the sheet's sizes the unit is {unit}, less likely {others}: one overall size on the sheet would settle it."
    )
    return _unit(unit, "sizes"), (said,)


def _by_plausibility(
    longest: float, length: SheetLength | None, expectation: Expectation, where: str
) -> tuple[LengthUnit, tuple[str, ...]]:
    """Without sizes that settle it: millimetres where these make a plausible part, else the only other unit that does.

    length : a size much shorter than the part, for which there must be room
    """
    least, greatest = expectation.smallest_part_mm, expectation.largest_part_mm
    plausible = [unit for unit in CANDIDATES if least <= longest * FACTORS_MM[unit] <= greatest]
    fitting = [unit for unit in plausible if length is None or length.goes_into(unit)]
    if "mm" in fitting or len(fitting) == 1:
        unit = "mm" if "mm" in fitting else fitting[0]
        said = f"The unit was taken to be {unit}, which makes the part {_in(longest, unit)} long: this is a guess."
        return _unit(unit, "guess"), (said,)
    fits = " and ".join(fitting) or "no unit"
    what = f"its length of {longest:.4g} fits {fits} for a part between {least:g} and {greatest:g} mm"
    raise UnitUnclear(what, where=where, do=_put(fitting))


def _larger_than_part(length: SheetLength, unit: UnitName) -> str:
    ratio = length.ratio(unit)
    return f"The scan is {ratio:.1f} times as long as the part on the sheet: is a support surface left on it?"


def _in(length: float, unit: UnitName) -> str:
    length_mm = length * FACTORS_MM[unit]
    return f"about {length_mm:,.0f} mm" if length_mm >= 10 else f"about {length_mm:.2g} mm"


def _put(units: list[UnitName]) -> str:
    """What to do, with the very line."""
    line = f'unit = "{units[0]}"' if units else 'unit = "in"'
    return f"Put the line {line} (or mm, cm, m, in as it is) into the part's sheet, or correct its sizes"
