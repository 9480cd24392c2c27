"""The pieces of a cut part."""

from dataclasses import dataclass

from verifier.correcting.reshaping.joint import Joint
from verifier.mending.solid import Solid


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece, in the frame of the whole.

    name : 'piece 1 of 2'
    cut_at_mm : heights of its cuts along the direction, counted as the sheet counts them
    """

    name: str
    solid: Solid
    cut_at_mm: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Pieces:
    """All pieces, and the joint of each cut between them."""

    pieces: tuple[Piece, ...]
    joints: tuple[Joint, ...]
