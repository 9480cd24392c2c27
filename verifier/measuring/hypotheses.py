"""Many partial matchings of the sheet with the scan, side by side as arrays."""

from dataclasses import dataclass, replace

import numpy as np

from verifier.measuring import belief as beliefs
from verifier.measuring.regret import MISREAD_MM, misread, seen_well
from verifier.mesh import Array, BoolArray, IntArray

NOT_PLACED = -2
NOT_FOUND_HERE = -1
NOBODY = -1


@dataclass(frozen=True, slots=True)
class Hypotheses:
    """n matchings of r named rows.

    owner : (n, r) which cylinder each named row has; NOT_FOUND_HERE, NOT_PLACED
    belief : (n, 5) of scale and coat, see belief.py
    regret : (n,) so far
    misread : (n,) index of the one sheet row held to be misread, or NOBODY
    """

    owner: IntArray
    belief: Array
    regret: Array
    misread: IntArray

    def __len__(self) -> int:
        return len(self.regret)

    def at(self, which: IntArray | BoolArray) -> "Hypotheses":
        """Those, in that order; an index may come more than once."""
        return Hypotheses(self.owner[which], self.belief[which], self.regret[which], self.misread[which])

    def within(self, limit: float) -> "Hypotheses":
        """Those whose regret does not exceed the limit."""
        return self.at(self.regret <= limit)

    def worse_by(self, regret: Array | float) -> "Hypotheses":
        """The same, all with more to regret."""
        return replace(self, regret=self.regret + regret)

    def giving(self, row: int, cylinder: IntArray | int) -> "Hypotheses":
        """The same, with a named row given to a cylinder."""
        owner = self.owner.copy()
        owner[:, row] = cylinder
        return replace(self, owner=owner)

    def best_first(self, at_most: int) -> "Hypotheses":
        """The best so many."""
        return self.at(np.argsort(self.regret, kind="stable")[:at_most])


@dataclass(frozen=True, slots=True)
class Sighting:
    """What a row's size should be and what n hypotheses say was seen.

    row : index in the sheet
    value, variance : (n,) seen on the scan; variance holds the row's own uncertainty too
    walls : (n,)
    """

    row: int
    size: float
    value: Array
    variance: Array
    walls: Array


def nothing_known(belief: Array, named_rows: int) -> Hypotheses:
    """The one hypothesis before anything is placed."""
    owner = np.full((1, named_rows), NOT_PLACED, dtype=np.int64)
    return Hypotheses(owner, belief, np.zeros(1), np.full(1, NOBODY, dtype=np.int64))


def join(parts: list[Hypotheses]) -> Hypotheses:
    """All of them, one after the other."""
    return Hypotheses(
        np.concatenate([p.owner for p in parts]),
        np.concatenate([p.belief for p in parts]),
        np.concatenate([p.regret for p in parts]),
        np.concatenate([p.misread for p in parts]),
    )


def weigh(tried: Hypotheses, seen: Sighting, limit: float) -> Hypotheses:
    """Each hypothesis twice: the row was read well, and (one row at most) it was misread; those within the limit."""
    expected, spread = beliefs.predict(tried.belief, seen.size, seen.walls)
    error, total = seen.value - expected, spread + seen.variance
    well = tried.worse_by(seen_well(error, total) + np.log(total / seen.variance))
    well = replace(well, belief=beliefs.learn(tried.belief, seen.size, seen.walls, seen.value, seen.variance))
    wrong = replace(
        tried.worse_by(misread(error, seen.variance, MISREAD_MM)), misread=np.full(len(tried), seen.row, dtype=np.int64)
    )
    return join([well.within(limit), wrong.at(tried.misread == NOBODY).within(limit)])
