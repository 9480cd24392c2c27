"""A part compared with its reference: the whole surface and each feature."""

from dataclasses import dataclass

from verifier.comparing.changes import Change, Seen, changes
from verifier.comparing.deviation import Deviation, deviation_of
from verifier.comparing.reference import Reference
from verifier.mending.solid import Solid


@dataclass(frozen=True, slots=True)
class Compared:
    """What a part was compared with, how far its surface is off, and which of its features differ.

    changes : the surest first; none where it is not sure how the two lie
    """

    reference: Reference
    deviation: Deviation
    changes: tuple[Change, ...]


def compare(solid: Solid, seen: Seen, reference: Reference) -> Compared:
    """Lay a part on its reference and tell them apart.

    seen : what was found on it, in the solid's own coordinates
    """
    deviation = deviation_of(solid, seen.features, reference.solid, reference.features)
    alignment = deviation.alignment
    return Compared(reference, deviation, changes(reference.seen, seen, alignment.pose) if alignment.sure else ())
