"""Which found features the names of a sheet stand for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from verifier.correcting.reshaping.work import CannotReshape, Work
from verifier.finding.feature import Cylinder
from verifier.measuring.size import Size


@dataclass(frozen=True, slots=True)
class Names:
    """By row, the features its size was taken from, and those of all equal places it may stand for."""

    features: Mapping[str, tuple[str, ...]]
    equal: Mapping[str, tuple[str, ...]]

    def cylinder(self, work: Work, row: str) -> Cylinder:
        """The one bore or boss of a row. Raises CannotReshape where it was not found or may be several."""
        if len(self.equal.get(row, ())) > 1:
            do = f"Give the sheet a distance that only one of them has, or do without '{row}' in this line"
            raise CannotReshape(f"'{row}' has an equal one, and which of them it is cannot be told", do)
        found = work.cylinder((*self.features.get(row, ()), "")[0])
        if found is None:
            do = f"Scan the part with '{row}' in view, or name another bore or boss"
            raise CannotReshape(f"'{row}' was not found on the scan", do)
        return found

    def pair(self, work: Work, rows: tuple[str, str]) -> tuple[Cylinder, Cylinder, bool]:
        """Two bores or bosses, and whether it is certain which is which. Raises CannotReshape."""
        sets = [tuple(sorted(self.equal.get(row, ()))) for row in rows]
        if sets[0] == sets[1] and len(sets[0]) == 2:
            one, other = (work.cylinder(name) for name in sets[0])
            assert one is not None
            assert other is not None
            return one, other, False
        return self.cylinder(work, rows[0]), self.cylinder(work, rows[1]), True


def names_of(sizes: Sequence[Size]) -> Names:
    """The names of a sheet's rows, as measured."""
    return Names({size.name: size.features for size in sizes}, {size.name: size.set_features for size in sizes})
