"""Options of the rows that name bores and bosses, and of those taken between them."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from verifier.measuring.by_size import options_by_size, regrets
from verifier.measuring.candidate import Candidate
from verifier.measuring.constellation import Matchings, match_constellation
from verifier.measuring.frame import Frame, problem_of, tied_places
from verifier.measuring.images import all_images
from verifier.measuring.kinds import KINDS
from verifier.measuring.option import Option, best_first
from verifier.measuring.overall import along_line
from verifier.measuring.regret import NOT_FOUND_BY_SIZE, RIVAL
from verifier.measuring.sunk import OF_A_BORE
from verifier.measuring.wanted import Wanted
from verifier.mesh import Array

# A place among the found cylinders, or None: not found.
Owner = int | None


@dataclass(frozen=True, slots=True)
class Matched:
    """Which cylinders the named rows may have.

    tied : places of the named rows matched by the constellation; the columns of matchings.found.owner
    free : place of any other named row -> its possible cylinders, each with how much worse it is
    belief : (5,) of scale and coat, from the best matching
    images : every rival matching is the best one carried over by a turn or a mirror of the part
    """

    frame: Frame
    tied: tuple[int, ...]
    matchings: Matchings
    free: dict[int, dict[Owner, float]]
    belief: Array
    images: bool

    def owners(self, places: Sequence[int]) -> dict[tuple[Owner, ...], float]:
        """What the rows at these places may have together, each with how much worse than the best it is."""
        tied = [p for p in places if p in self.tied]
        together: list[Mapping[tuple[Owner, ...], float]] = [self._tied_owners(tied)] if tied else []
        together += [{(owner,): worse for owner, worse in self.free[p].items()} for p in places if p not in self.tied]
        order = tied + [p for p in places if p not in self.tied]
        found: dict[tuple[Owner, ...], float] = {}
        for parts in product(*(options.items() for options in together)):
            flat = dict(zip(order, (owner for owners, _ in parts for owner in owners), strict=True))
            key = tuple(flat[p] for p in places)
            found[key] = min(found.get(key, np.inf), sum(worse for _, worse in parts))
        return {key: worse for key, worse in found.items() if worse <= RIVAL}

    def _tied_owners(self, places: Sequence[int]) -> Mapping[tuple[Owner, ...], float]:
        columns = [self.tied.index(p) for p in places]
        # The matchings are sorted, so the first of each kind is the best of its kind.
        owners, first = np.unique(self.matchings.found.owner[:, columns], axis=0, return_index=True)
        worse = self.matchings.worse_by[first]
        return {
            tuple(int(c) if c >= 0 else None for c in owner): float(w) for owner, w in zip(owners, worse, strict=True)
        }

    def best(self, place: int) -> Owner:
        """The cylinder of a named row in the best matching."""
        if place in self.tied:
            owner = int(self.matchings.found.owner[0, self.tied.index(place)])
            return owner if owner >= 0 else None
        # A rival may leave a cylinder over that the best matching has given away.
        given = set(self.matchings.found.owner[0].tolist())
        free = {owner: worse for owner, worse in self.free[place].items() if owner not in given}
        return min(free, key=lambda owner: free[owner], default=None)


def match_named(frame: Frame, wanted: Sequence[Wanted], belief: Array) -> Matched:
    """Match tied rows by the constellation, then the rest by size among the cylinders left over."""
    tied = tied_places(frame, wanted)
    matchings = match_constellation(problem_of(frame, wanted, tied, belief))
    learnt = matchings.found.belief[0]
    # A rival may leave another cylinder over than the best does: what every rival has is used, and no more.
    used = set.intersection(*({int(c) for c in owner if c >= 0} for owner in matchings.found.owner))
    free: dict[int, dict[Owner, float]] = {}
    for kind in ("bore", "boss"):
        places = [i for i, row in enumerate(frame.named) if row.row.kind == kind and i not in tied]
        free |= _free_owners(frame, [p for p in places if frame.named[p].size is not None], used, learnt)
        free |= {p: {None: 0.0} for p in places if frame.named[p].size is None}
    images = matchings.complete and all_images(matchings.found.owner, frame.features.cylinders)
    return Matched(frame, tied, matchings, free, learnt, images)


def _free_owners(frame: Frame, places: Sequence[int], used: set[int], belief: Array) -> dict[int, dict[Owner, float]]:
    if not places:
        return {}
    rows = [frame.named[p] for p in places]
    choices = [{c: candidate for c, candidate in frame.choices[p].items() if c not in used} for p in places]
    options = options_by_size(rows, [list(c.values()) for c in choices], np.repeat(belief[None], len(rows), axis=0))
    number = {cylinder.name: i for i, cylinder in enumerate(frame.features.cylinders)}
    return {
        place: {None if o.candidate is None else number[o.candidate.features[0]]: o.worse_by for o in mine}
        for place, mine in zip(places, options, strict=True)
    }


def named_options(matched: Matched, place: int) -> tuple[Option, ...]:
    """Options of a bore or boss row."""
    choices = matched.frame.choices[place]
    return _sorted(
        Option(None if owner is None else choices[owner], worse) for (owner,), worse in matched.owners([place]).items()
    )


def pair_options(matched: Matched, row: Wanted) -> tuple[Option, ...]:
    """Options of a centre distance."""
    owners = matched.owners(matched.frame.ends(row))
    return _sorted(Option(_pair(matched.frame, *pair), worse) for pair, worse in owners.items())


def _pair(frame: Frame, one: Owner, other: Owner) -> Candidate | None:
    return None if one is None or other is None else frame.pair(one, other)


def edge_options(matched: Matched, row: Wanted) -> tuple[Option, ...]:
    """Options of an edge distance: every face that fits, of every bore that fits."""
    options: list[Option] = []
    for (owner,), worse in matched.owners(matched.frame.ends(row)).items():
        options += [Option(o.candidate, o.worse_by + worse) for o in _faces(matched, row, owner)]
    least = min((o.worse_by for o in options), default=0.0)
    return _sorted(Option(o.candidate, o.worse_by - least) for o in options)


def mouth_options(matched: Matched, row: Wanted) -> tuple[Option, ...]:
    """Options of a row at the mouth of a bore: every countersink or counterbore of every bore that fits."""
    options: list[Option] = []
    for (owner,), worse in matched.owners(matched.frame.ends(row)).items():
        options += [Option(o.candidate, o.worse_by + worse) for o in _mouths(matched, row, owner)]
    least = min((o.worse_by for o in options), default=0.0)
    return _sorted(Option(o.candidate, o.worse_by - least) for o in options)


def _mouths(matched: Matched, row: Wanted, owner: Owner) -> list[Option]:
    """What one bore has at its mouths, each with its regret; none of them where nothing fits."""
    if owner is None:
        return [Option(None, 0.0)]
    candidates = OF_A_BORE[row.row.kind](matched.frame.features, row.row, matched.frame.cylinder(owner))
    if row.size is None:
        return [Option(candidate, 0.0) for candidate in candidates] or [Option(None, 0.0)]
    fits = regrets(row, candidates, matched.belief, KINDS[row.row.kind])
    return [Option(c, float(fit)) for c, fit in zip(candidates, fits, strict=True)] + [Option(None, NOT_FOUND_BY_SIZE)]


def _faces(matched: Matched, row: Wanted, owner: Owner) -> list[Option]:
    """The faces along one bore, each with its regret; and none of them."""
    if owner is None or row.size is None:
        return [Option(None, 0.0)]
    candidates = matched.frame.edges(owner)
    fits = regrets(row, candidates, matched.belief, KINDS[row.row.kind])
    return [Option(c, float(fit)) for c, fit in zip(candidates, fits, strict=True)] + [Option(None, NOT_FOUND_BY_SIZE)]


def line_options(matched: Matched, row: Wanted) -> tuple[Option, ...]:
    """Options of an overall size along the line through two bores."""
    owners = matched.owners(matched.frame.ends(row))
    return _sorted(Option(_along(matched.frame, *pair), worse) for pair, worse in owners.items())


def _along(frame: Frame, one: Owner, other: Owner) -> Candidate | None:
    if one is None or other is None:
        return None
    return next(iter(along_line(frame.features, frame.cylinder(one), frame.cylinder(other))), None)


def _sorted(options: Iterable[Option]) -> tuple[Option, ...]:
    """Best first, one for each place, rivals only."""
    best: dict[tuple[str, ...], Option] = {}
    for option in sorted(options, key=best_first):
        best.setdefault(option.candidate.features if option.candidate else (), option)
    return tuple(option for option in best.values() if option.worse_by <= RIVAL)
