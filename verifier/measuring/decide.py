"""From the places a row may have to the one size that is reported, or to the sentence that says why there is none."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from verifier.finding.symmetry import OFF_MM
from verifier.measuring import belief as beliefs
from verifier.measuring.candidate import Candidate, root_sum_square
from verifier.measuring.kinds import KINDS
from verifier.measuring.option import Option
from verifier.measuring.size import Size
from verifier.measuring.support import Doubt
from verifier.measuring.wanted import Wanted, equal_sizes
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow
from verifier.rulebook.size_kinds import unit_of

# Two places agree when they differ by no more than this many standard uncertainties: the sheet cannot tell them apart.
AGREE = 2.0


@dataclass(frozen=True, slots=True)
class Case:
    """One row before the decision.

    options : the places it may have, best first
    belief : (5,) of scale and coat, from everything but this row
    doubt : what is in doubt about its match although it is the best; None when it is sure
    missing : why it has no options at all
    remark : what to know of its match, where it is one
    images : a turn or a mirror of the part takes any of the bores it may be taken of to any other
    """

    wanted: Wanted
    options: tuple[Option, ...]
    belief: Array
    doubt: Doubt | None = None
    missing: str = ""
    remark: str = ""
    images: bool = False

    @property
    def places(self) -> tuple[Candidate, ...]:
        """The options that are places."""
        return tuple(option.candidate for option in self.options if option.candidate is not None)

    @property
    def may_be_missing(self) -> bool:
        """Whether the row's feature not having been found is as good a story."""
        return any(option.candidate is None for option in self.options)

    def expected(self, place: Candidate) -> float:
        """What the scan should show at a place if the sheet is right."""
        size = float(self.wanted.size or 0.0)
        if not KINDS[self.wanted.row.kind].length:
            return size
        return float(beliefs.predict(self.belief[None], size, place.walls)[0][0])


def decide(cases: Sequence[Case]) -> tuple[Size, ...]:
    """One size for each row, in order."""
    sets = whole_sets(cases)
    return tuple(_decide(case, case.wanted.index in sets) for case in cases)


def whole_sets(cases: Sequence[Case]) -> set[int]:
    """Indices of rows that change places among themselves only: as many equal rows as places, and none missing.

    Whichever of them is which, each is one of the set, so all may be judged by the worst.
    """
    whole: set[int] = set()
    for rows in _exchanging(cases):
        places = {place.features for case in rows for place in case.places}
        equal = all(equal_sizes(rows[0].wanted, case.wanted) for case in rows)
        if equal and len(places) == len(rows) and not any(case.may_be_missing for case in rows):
            whole |= {case.wanted.index for case in rows}
    return whole


def _exchanging(cases: Sequence[Case]) -> list[list[Case]]:
    """Rows of one kind in groups that have places in common, directly or through others."""
    groups: list[tuple[set[tuple[str, ...]], list[Case]]] = []
    for case in cases:
        keys = {(case.wanted.row.kind, *place.features) for place in case.places}
        touching = [group for group in groups if group[0] & keys]
        merged = (keys.union(*(g[0] for g in touching)), [c for g in touching for c in g[1]] + [case])
        groups = [group for group in groups if group not in touching] + [merged]
    return [rows for _, rows in groups]


def _decide(case: Case, whole_set: bool) -> Size:
    places = case.places
    if not places:
        to_read = f"Measure '{case.wanted.row.name}' on the original with the calliper and fill in its reading."
        unread = case.wanted.size is None and KINDS[case.wanted.row.kind].found in ("own", "named")
        nothing = _nothing(case, case.missing or _not_there(case), to_read if unread else "")
        return replace(nothing, fits_nothing=case.wanted.size is not None and not case.missing)
    if case.options[0].candidate is None and (case.wanted.size is None or _looks_misread(case, places[0])):
        return replace(_nothing(case, f"{_not_there(case)}; nearest {_listed(places[:1])}"), fits_nothing=True)
    if case.may_be_missing:
        return _nothing(case, _perhaps_missing(case))
    equals = len(places) > 1 and _all_agree(case)
    if case.doubt and not (equals and case.doubt.among_equals):
        told = _bores_of(case.wanted.row)
        do = f"Give the sheet one more distance to {told}, or a row for every bore that looks like it."
        return _nothing(case, f"{_listed(places)} would fit, but {case.doubt.reason}", do)
    if whole_set or _all_agree(case):
        return _worst(case)
    return _worst_image(case) if _are_images(case) else _tie(case)


def _bores_of(row: SheetRow) -> str:
    """The bores that a row is taken of or between, else itself: to a distance no other can be given."""
    return " or ".join(f"'{name}'" for name in row.between or row.through or (row.of or row.name,))


def _all_agree(case: Case) -> bool:
    """Whether all places give the same number, as far as the scan and the sheet's own uncertainty tell."""
    u = root_sum_square(max(place.u for place in case.places), case.wanted.u)
    return _apart(case) <= AGREE * u


def _worst(case: Case) -> Size:
    """The place that deviates most; where the sheet gives no size, from the middle of them."""
    middle = float(np.median([place.value for place in case.places]))

    def deviation(place: Candidate) -> float:
        return abs(place.value - (middle if case.wanted.size is None else case.expected(place)))

    worst = max(case.places, key=lambda place: (round(deviation(place), 9), place.value))
    size = _size(case, worst, set_size=len(case.places), reason=_remark(case, worst))
    if len(case.places) == 1:
        return size
    return replace(size, set_features=tuple(sorted({name for place in case.places for name in place.features})))


def _are_images(case: Case) -> bool:
    """Whether the places are one place and its images, one of each bore, as alike as a moulded part is symmetric."""
    bores = {_bores_in(place) for place in case.places}
    return case.images and len(bores) == len(case.places) and _apart(case) <= OFF_MM


def _bores_in(place: Candidate) -> tuple[str, ...]:
    return tuple(name for name in place.features if not name.startswith("plane"))


def _apart(case: Case) -> float:
    values = [place.value for place in case.places]
    return max(values) - min(values)


def _worst_image(case: Case) -> Size:
    """The worst of places of which the part's symmetry does not tell which is the row's.

    The row's own may lie as far from it as they lie apart: with so much in U the row fails only where each of them
    would, and a reading of another place says no more of scale and coat than it knows.
    """
    worst = _worst(case)
    return replace(worst, u_mm=root_sum_square(worst.u_mm, 0.5 * _apart(case)))


def _tie(case: Case) -> Size:
    best = case.places[0]
    others = tuple(sorted(place.value for place in case.places[1:]))
    tell = KINDS[case.wanted.row.kind].tell_apart
    reason = f"{_listed(case.places)} fit equally well and differ; {tell} would tell which it is"
    return _size(case, best, alternatives_mm=others, reason=reason)


def _size(
    case: Case, place: Candidate, *, set_size: int = 1, alternatives_mm: tuple[float, ...] = (), reason: str = ""
) -> Size:
    return Size(
        name=case.wanted.row.name,
        measured_mm=place.value,
        u_mm=place.u,
        walls=place.walls,
        features=place.features,
        points_mm=place.points_mm,
        seen_share=place.seen_share,
        alternatives_mm=alternatives_mm,
        set_size=set_size,
        reason=reason,
    )


def _nothing(case: Case, reason: str, do: str = "") -> Size:
    row = case.wanted.row
    return Size(row.name, None, 0.0, KINDS[row.kind].walls, (), np.empty((0, 3)), 0.0, reason=reason, do=do)


def _not_there(case: Case) -> str:
    return f"not found: no {KINDS[case.wanted.row.kind].thing} fits{_asked(case.wanted)}"


def _perhaps_missing(case: Case) -> str:
    other = "this is another" if len(case.places) == 1 else "these are others"
    return f"{_listed(case.places)} may be it, or it was not found and {other}: the sizes do not tell"


def _asked(wanted: Wanted) -> str:
    unit = unit_of(wanted.row.kind)
    return "" if wanted.size is None else f" {wanted.size:.2f} {unit}"


def _remark(case: Case, place: Candidate) -> str:
    """What to know of a value that was found."""
    parts = []
    if len(case.places) > 1:
        parts.append(f"the worst of {len(case.places)} equal places")
    if case.wanted.size is not None and _looks_misread(case, place):
        away = place.value - case.expected(place)
        parts.append(f"{away:+.2f} from what the reading lets expect: read it again")
    if case.remark:
        parts.append(case.remark)
    return "; ".join(parts)


# Beyond this many standard deviations a single reading is more likely wrong than unlucky (1 in 15 000 sound ones).
MISREAD_BEYOND = 4.0


def _looks_misread(case: Case, place: Candidate) -> bool:
    size = float(case.wanted.size or 0.0)
    spread = 0.0
    if KINDS[case.wanted.row.kind].length:
        spread = float(beliefs.predict(case.belief[None], size, place.walls)[1][0])
    u = np.sqrt(spread + place.u**2 + case.wanted.u**2)
    return bool(abs(place.value - case.expected(place)) > MISREAD_BEYOND * u)


def _listed(places: Sequence[Candidate]) -> str:
    shown = [f"{' and '.join(place.features)} ({place.value:.2f})" for place in places[:4]]
    more = f" and {len(places) - 4} more" if len(places) > 4 else ""
    return ", ".join(shown) + more
