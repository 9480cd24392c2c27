"""The ways of putting scans together as the page shows them: a picture, a caption, and a number to choose by."""

import base64
from collections.abc import Sequence
from dataclasses import dataclass

from verifier.inspection import JoinTable
from verifier.reporting.join_words import way_in_words


@dataclass(frozen=True, slots=True)
class WayShown:
    """One way: the number that chooses it, its picture as a data address, and what is said of it."""

    number: int
    picture: str
    words: str


def ways_to_choose(join: JoinTable | None, pictures: Sequence[bytes]) -> tuple[WayShown, ...]:
    """The ways that have a picture; none where there is nothing to choose."""
    if join is None:
        return ()
    return tuple(
        WayShown(way.number, "data:image/png;base64," + base64.b64encode(png).decode(), way_in_words(way))
        for way, png in zip(join.ways, pictures, strict=False)
    )
