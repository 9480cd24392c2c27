"""Which found bore is which row: branch and bound over all named rows at once.

Scale and coat are unknown, features may be missing or too many, one reading may be wrong. Rows are placed one after the
other; every partial matching that could still come within RIVAL of the best is kept, so the rivals at the end are all
there are.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.measuring.candidate import Candidate
from verifier.measuring.hypotheses import (
    NOT_FOUND_HERE,
    Hypotheses,
    Sighting,
    join,
    nothing_known,
    weigh,
)
from verifier.measuring.regret import DISTANCE_WORTH, MOULDING_U_MM, NOT_FOUND, RIVAL, RIVAL_WHEN_MISSING, SIZE_WORTH
from verifier.mesh import Array, BoolArray

# Matchings kept after each row, first for a quick good answer, then for the proof that no better one was passed over.
# 4000 of 41 choices each fill 30 MB and take 0.1 s a row; a sheet that needs more has too many look-alikes to be told
# apart, which is then said.
QUICK = 300
KEPT = 4000


@dataclass(frozen=True, slots=True)
class NamedRow:
    """A bore or boss of the sheet.

    index : in the sheet
    size, u : what it should be; None without a reading
    choices : cylinder -> its diameter as a candidate
    """

    index: int
    size: float | None
    u: float
    choices: Mapping[int, Candidate]


@dataclass(frozen=True, slots=True)
class Tie:
    """A centre distance between two named rows (ends are places among the named rows)."""

    index: int
    ends: tuple[int, int]
    size: float
    u: float


@dataclass(frozen=True, slots=True)
class Edge:
    """A distance from a named row to some face; edges : cylinder -> its candidates."""

    index: int
    end: int
    size: float
    u: float
    edges: Mapping[int, Sequence[Candidate]]


@dataclass(frozen=True, slots=True)
class Anchor:
    """A size known without a choice, such as the overall length: it says something of scale and coat beforehand."""

    index: int
    size: float
    u: float
    candidate: Candidate


@dataclass(frozen=True, slots=True)
class Problem:
    """All that the named rows are matched by.

    distance : (c, c) centre distance of cylinders, NaN where not parallel; u_distance : (c, c)
    """

    named: tuple[NamedRow, ...]
    ties: tuple[Tie, ...]
    edges: tuple[Edge, ...]
    anchors: tuple[Anchor, ...]
    distance: Array
    u_distance: Array
    belief: Array


@dataclass(frozen=True, slots=True)
class Matchings:
    """The best matching first, then every rival.

    worse_by : (n,) 0 for the best, RIVAL for the last that counts as a rival
    complete : False when there were too many to follow
    """

    found: Hypotheses
    worse_by: Array
    complete: bool


def match_constellation(problem: Problem) -> Matchings:
    """All matchings within `margin` of the best: RIVAL, or RIVAL_WHEN_MISSING where the best lacks a feature."""
    order = _order(problem)
    quick, _ = _search(problem, order, limit=np.inf, at_most=QUICK)
    quick = quick.best_first(QUICK)
    margin = RIVAL_WHEN_MISSING if np.any(quick.owner[0] == NOT_FOUND_HERE) else RIVAL
    found, first_dropped = _search(problem, order, limit=float(quick.regret[0]) + margin, at_most=KEPT)
    # The quick answer is among those found, unless the crowd pushed it out.
    found = (found if len(found) else quick).best_first(KEPT)
    limit = float(found.regret[0]) + margin
    found = found.within(limit)
    worse_by = (found.regret - found.regret[0]) * (RIVAL / margin)
    return Matchings(found, worse_by, complete=first_dropped > limit)


def variance_of(u: float, u_seen: Array | float) -> Array:
    """Of the difference between a reading and what was seen, mm2."""
    return np.asarray(u**2 + np.square(u_seen) + MOULDING_U_MM**2, dtype=np.float64)


def _search(problem: Problem, order: Sequence[int], *, limit: float, at_most: int) -> tuple[Hypotheses, float]:
    """The matchings within the limit, and the regret of the best one dropped for want of room."""
    tried, dropped = nothing_known(problem.belief, len(problem.named)), np.inf
    for anchor in problem.anchors:
        tried = _anchored(tried, anchor, limit)
    for place in order:
        tried = _place(tried, place, problem, limit)
        if len(tried) > at_most:
            tried = tried.best_first(at_most + 1)
            dropped = min(dropped, float(tried.regret[-1]))
            tried = tried.best_first(at_most)
    return tried, dropped


def _order(problem: Problem) -> list[int]:
    """Rows so that each is tied to those before it where possible; rows with few choices and many ties first."""
    left = set(range(len(problem.named)))
    order: list[int] = []
    while left:

        def urgency(place: int) -> tuple[int, int, int]:
            mine = [tie for tie in problem.ties if place in tie.ends]
            to_placed = sum(any(end in order for end in tie.ends) for tie in mine)
            alike = len(_alike(problem.named[place]))
            return to_placed, -alike, len(mine) + sum(edge.end == place for edge in problem.edges)

        chosen = max(sorted(left), key=urgency)
        order.append(chosen)
        left.remove(chosen)
    return order


def _alike(row: NamedRow) -> list[int]:
    """Cylinders about as large as the row asks for."""
    if row.size is None:
        return list(row.choices)
    return [c for c, candidate in row.choices.items() if abs(candidate.value - row.size) < 0.5 + 0.02 * row.size]


def _anchored(tried: Hypotheses, anchor: Anchor, limit: float) -> Hypotheses:
    ones = np.ones(len(tried))
    seen = anchor.candidate
    variance = variance_of(anchor.u, seen.u) * ones
    return weigh(tried, Sighting(anchor.index, anchor.size, seen.value * ones, variance, seen.walls * ones), limit)


def _place(tried: Hypotheses, place: int, problem: Problem, limit: float) -> Hypotheses:
    """Every hypothesis with the row given to each free cylinder, or to none."""
    placed = _given(tried, place, problem.named[place], limit)
    for tie in problem.ties:
        if place in tie.ends:
            placed = _tied(placed, place, tie, problem, limit)
    for edge in problem.edges:
        if edge.end == place:
            placed = _edged(placed, edge, limit)
    return join([placed, _missing(tried, place, problem).within(limit)])


def _given(tried: Hypotheses, place: int, row: NamedRow, limit: float) -> Hypotheses:
    choices = np.array(sorted(row.choices), dtype=np.int64)
    which, cylinder = (grid.ravel() for grid in np.meshgrid(np.arange(len(tried)), choices, indexing="ij"))
    free = np.all(tried.owner[which] != cylinder[:, None], axis=1)
    placed = tried.at(which[free]).giving(place, cylinder[free])
    if row.size is None:
        return placed
    number = np.searchsorted(choices, cylinder[free])
    value, u, walls = (column[number] for column in _columns([row.choices[int(c)] for c in choices]))
    return weigh(placed, Sighting(row.index, row.size, value, variance_of(row.u, u), walls), limit)


def _columns(candidates: Sequence[Candidate]) -> tuple[Array, Array, Array]:
    """Value, uncertainty and walls of each, as arrays."""
    table = np.array([(c.value, c.u, c.walls) for c in candidates], dtype=np.float64).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def _missing(tried: Hypotheses, place: int, problem: Problem) -> Hypotheses:
    """The row's feature was not found: what its size and its ties would have been worth is lost, each tie once."""
    row = problem.named[place]
    worth = SIZE_WORTH * (row.size is not None) + DISTANCE_WORTH * sum(edge.end == place for edge in problem.edges)
    lost = np.full(len(tried), NOT_FOUND + worth)
    for tie in problem.ties:
        if place in tie.ends:
            lost += DISTANCE_WORTH * ~_gone(tried, _other(tie, place))
    return tried.giving(place, NOT_FOUND_HERE).worse_by(lost)


def _other(tie: Tie, place: int) -> int:
    return tie.ends[1] if tie.ends[0] == place else tie.ends[0]


def _gone(tried: Hypotheses, place: int) -> BoolArray:
    return np.asarray(tried.owner[:, place] == NOT_FOUND_HERE, dtype=np.bool_)


def _tied(placed: Hypotheses, place: int, tie: Tie, problem: Problem, limit: float) -> Hypotheses:
    """Weigh a centre distance where both its ends are placed; bores that are not parallel cannot be its ends."""
    partner = placed.owner[:, _other(tie, place)]
    both = placed.at(partner >= 0)
    here, there = both.owner[:, place], both.owner[:, _other(tie, place)]
    value, u = problem.distance[here, there], problem.u_distance[here, there]
    good = np.isfinite(value)
    seen = Sighting(tie.index, tie.size, value[good], variance_of(tie.u, u[good]), np.zeros(int(good.sum())))
    return join([placed.at(partner < 0), weigh(both.at(good), seen, limit)])


def _edged(placed: Hypotheses, edge: Edge, limit: float) -> Hypotheses:
    """Weigh the face that fits best; or the face was not found."""
    nearest = {c: min(faces, key=lambda face: abs(face.value - edge.size)) for c, faces in edge.edges.items() if faces}
    having = np.array(sorted(nearest), dtype=np.int64)
    end = placed.owner[:, edge.end]
    has = np.isin(end, having)
    number = np.searchsorted(having, end[has])
    value, u, walls = (column[number] for column in _columns([nearest[int(c)] for c in having]))
    weighed = weigh(placed.at(has), Sighting(edge.index, edge.size, value, variance_of(edge.u, u), walls), limit)
    return join([weighed, placed.worse_by(NOT_FOUND).within(limit)])
