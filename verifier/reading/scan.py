"""The value that leaves the reading room: triangles in millimetres, and where they came from."""

from dataclasses import dataclass
from typing import Literal

from verifier.mesh import Mesh
from verifier.reading.colours import Colours

UnitName = Literal["micron", "mm", "cm", "m", "in", "ft"]
KnownBy = Literal["file", "sheet", "sizes", "guess"]


@dataclass(frozen=True, slots=True)
class LengthUnit:
    """The unit the file's numbers were in.

    name : unit of length of the file
    factor_mm : millimetres in one of it
    known_by : 'file' (the format states it), 'sheet' (the dimension sheet names it), 'sizes' (it is the only one that
        fits the sheet's sizes), 'guess' (plausible for a part, no more)
    """

    name: UnitName
    factor_mm: float
    known_by: KnownBy


@dataclass(frozen=True, slots=True)
class Source:
    """Which file a scan is, so that a report can be traced to it."""

    name: str
    sha256: str
    size_bytes: int
    format: str


@dataclass(frozen=True, slots=True)
class Scan:
    """An export as it came, in millimetres; corners are not yet shared and nothing has been mended.

    mesh : the triangles, (n, 3) corners and (m, 3) faces
    unit : how the file's numbers became millimetres
    source : the file
    notices : what the reader saw that the person should know, each a sentence
    colours : (n, 3) red, green and blue of the corners, where the file has them
    """

    mesh: Mesh
    unit: LengthUnit
    source: Source
    notices: tuple[str, ...] = ()
    colours: Colours | None = None
