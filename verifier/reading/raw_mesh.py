"""What a format's reader hands over: triangles in the file's own numbers, not yet checked and without a size."""

from collections.abc import Callable
from dataclasses import dataclass

from verifier.mesh import Array, IntArray
from verifier.reading.colours import Colours
from verifier.reading.scan import UnitName
from verifier.rulebook.rules import Reading


@dataclass(frozen=True, slots=True)
class RawMesh:
    """Triangles as a file has them.

    vertices : (n, 3) float64, in the file's unit
    faces : (m, 3) int64
    unit : the unit the file states; None where its format has none
    notices : what the person should know, each a sentence
    colours : (n, 3) of the corners, where the file has them
    """

    vertices: Array
    faces: IntArray
    unit: UnitName | None = None
    notices: tuple[str, ...] = ()
    colours: Colours | None = None


# A reader takes the whole file, the name to complain under, and the limits.
Reader = Callable[[bytes, str, Reading], RawMesh]
