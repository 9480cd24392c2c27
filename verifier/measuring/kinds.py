"""The kinds of size a sheet may ask for: a new kind is one more row of KINDS (and a word in SizeKind)."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

from verifier.finding.feature import Features
from verifier.measuring import balls, cylinders, faces, forms, least_wall, overall, slots, sunk
from verifier.measuring.candidate import Candidate
from verifier.measuring.size import Size
from verifier.rulebook.sheet import SheetRow, SizeKind

# How a row finds its features. 'named': it names a bore or boss, which other rows refer to. 'pair' and 'from': it is
# taken between named ones, or from one to a face. 'mouth': at the mouth of one. 'circle': through several named ones.
# 'own': by its own size among all places of its kind. 'derived': from what other rows were found on, or from the whole
# surface.
Found = Literal["named", "pair", "from", "mouth", "circle", "own", "derived"]
Derive = Callable[[Features, SheetRow, Mapping[str, Size]], Size]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of size.

    walls : coated walls such a size crosses, where no place was found to ask
    candidates : all places where a row of this kind could have been taken, for 'named' and 'own'
    length : whether scale and coat act on it (not on an angle)
    derive : for 'derived', the size from the features and the sizes of the other rows
    shared : whether two rows of equal reading may be one place, measured twice
    thing : the word for it in a reason
    tell_apart : what tells two places of this kind apart that fit equally well
    """

    found: Found
    walls: float
    candidates: Callable[[Features, SheetRow], list[Candidate]]
    thing: str
    tell_apart: str = "a second size that only one of them has"
    length: bool = True
    shared: bool = True
    derive: Derive | None = None


def _none(features: Features, row: SheetRow) -> list[Candidate]:
    """Taken between named features only."""
    return []


OTHER_END = "a reading that only one of them has"
TIE_IT = "one more centre distance, or a distance to an edge"

KINDS: Mapping[SizeKind, Kind] = {
    "bore": Kind("named", -2, cylinders.bore_candidates, "bore", TIE_IT, shared=False),
    "boss": Kind("named", 2, cylinders.boss_candidates, "boss", TIE_IT, shared=False),
    "centre distance": Kind("pair", 0, _none, "pair of parallel bores or bosses", TIE_IT),
    "edge distance": Kind("from", 1, _none, "face along the bore"),
    "overall": Kind("own", 2, overall.overall_candidates, "overall size", shared=False),
    "thickness": Kind("own", 2, faces.thickness_candidates, "pair of faces with material between"),
    "step": Kind("own", 0, faces.step_candidates, "step between faces"),
    "angle": Kind("own", 0, faces.angle_candidates, "pair of faces", length=False),
    "slot width": Kind("own", -2, slots.width_candidates, "slot or pair of faces that look at each other"),
    "slot length": Kind("own", -2, slots.length_candidates, "slot"),
    "ball": Kind("own", 2, balls.ball_candidates, "ball", shared=False),
    "countersink diameter": Kind("mouth", sunk.mouth_walls(90.0), _none, "countersink on a flat face", OTHER_END),
    "countersink angle": Kind("mouth", 0, _none, "countersink on a flat face", OTHER_END, length=False),
    "counterbore diameter": Kind("mouth", -2, _none, "counterbore", OTHER_END),
    "counterbore depth": Kind("mouth", 0, _none, "counterbore on a flat face", OTHER_END),
    "pitch circle": Kind("circle", 0, _none, "circle through these bores", TIE_IT),
    "flatness": Kind("derived", 0, _none, "face", length=False, derive=forms.flatness_of),
    "parallelism": Kind("derived", 0, _none, "face or axis", length=False, derive=forms.parallelism_of),
    "perpendicularity": Kind("derived", 0, _none, "face or axis", length=False, derive=forms.perpendicularity_of),
    "least wall": Kind("derived", least_wall.WALLS, _none, "wall", derive=least_wall.least_wall_of),
}
