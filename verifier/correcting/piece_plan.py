"""One piece of a cut part as it is to be printed."""

from dataclasses import dataclass

from verifier.correcting.reshaping import Piece
from verifier.mesh import Mesh


@dataclass(frozen=True, slots=True)
class PiecePlan:
    """The mesh of one piece, standing as the whole would stand, and what it takes.

    piece : in the frame of the copy
    mesh : stands on z = 0 with its box's corner at x = y = 0, already enlarged against shrinkage
    """

    piece: Piece
    mesh: Mesh
    size_mm: tuple[float, float, float]
    fits_bed: bool
    mass_g: float
    cost: float

    @property
    def name(self) -> str:
        """'piece 1 of 2'."""
        return self.piece.name
