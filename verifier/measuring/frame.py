"""The sheet's constellation: which rows name bores and bosses, and which distances tie them to each other."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.finding.feature import Cylinder, Features
from verifier.measuring.candidate import Candidate
from verifier.measuring.constellation import Anchor, Edge, NamedRow, Problem, Tie
from verifier.measuring.cylinders import parallel_partners
from verifier.measuring.faces import edge_candidates
from verifier.measuring.kinds import KINDS
from verifier.measuring.overall import overall_candidates
from verifier.measuring.wanted import Wanted
from verifier.mesh import Array


@dataclass(frozen=True, slots=True)
class Frame:
    """What the rows refer to.

    named : the rows that name a bore or boss
    place : row name -> its place among named
    choices : for each named row, the cylinders of its kind (by their place in the features) and its diameter on them
    pairs : (i, j), i < j -> centre distance of two found cylinders
    faces : cylinder -> its distances to the faces along it
    """

    features: Features
    named: tuple[Wanted, ...]
    place: dict[str, int]
    choices: tuple[dict[int, Candidate], ...]
    pairs: dict[tuple[int, int], Candidate]
    faces: dict[int, tuple[Candidate, ...]]

    def edges(self, index: int) -> tuple[Candidate, ...]:
        """Distances of a cylinder to every face along it; none when the sheet asks for no such distance."""
        return self.faces.get(index, ())

    def cylinder(self, index: int) -> Cylinder:
        """A found bore or boss by its place in the features."""
        return self.features.cylinders[index]

    def pair(self, i: int, j: int) -> Candidate | None:
        """The centre distance of two cylinders, if their axes are parallel."""
        return self.pairs.get((min(i, j), max(i, j)))

    def ends(self, row: Wanted) -> tuple[int, ...]:
        """Places of the named rows that a row is taken between or from; empty when the sheet has no such rows."""
        names = row.row.between or row.row.through or (() if row.row.of is None else (row.row.of,))
        ends = tuple(self.place[name] for name in names if name in self.place)
        return ends if len(set(ends)) == len(names) else ()


def frame_of(features: Features, wanted: Sequence[Wanted]) -> Frame:
    """Gather what the rows refer to."""
    named = tuple(row for row in wanted if KINDS[row.row.kind].found == "named")
    place = {row.row.name: i for i, row in enumerate(named)}
    choices = tuple(_choices(features, row) for row in named)
    return Frame(
        features,
        named,
        place,
        choices,
        parallel_partners(features.cylinders, features.planes),
        _faces(features, wanted),
    )


def _choices(features: Features, row: Wanted) -> dict[int, Candidate]:
    number = {cylinder.name: index for index, cylinder in enumerate(features.cylinders)}
    return {number[c.features[0]]: c for c in KINDS[row.row.kind].candidates(features, row.row)}


def _faces(features: Features, wanted: Sequence[Wanted]) -> dict[int, tuple[Candidate, ...]]:
    if not any(row.row.kind == "edge distance" for row in wanted):
        return {}
    return {index: tuple(edge_candidates(features, c)) for index, c in enumerate(features.cylinders)}


def tied_places(frame: Frame, wanted: Sequence[Wanted]) -> tuple[int, ...]:
    """Places of the named rows that some distance with a size ties to another bore or to a face."""
    return tuple(sorted({end for row in wanted if ties(row) for end in frame.ends(row)}))


def ties(row: Wanted) -> bool:
    """Whether a row is a distance of known size that ties a bore to another or to a face."""
    return row.size is not None and KINDS[row.row.kind].found in ("pair", "from")


def problem_of(frame: Frame, wanted: Sequence[Wanted], tied: Sequence[int], belief: Array) -> Problem:
    """The tied rows, their distances and the sizes known beforehand, ready to be matched."""
    column = {place: k for k, place in enumerate(tied)}
    distance, u_distance = _distances(frame)
    return Problem(
        named=tuple(_named(frame, place) for place in tied),
        ties=tuple(
            Tie(row.index, (column[ends[0]], column[ends[1]]), float(row.size or 0.0), row.u)
            for row in wanted
            if ties(row) and len(ends := frame.ends(row)) == 2
        ),
        edges=tuple(
            _edge(frame, row, ends[0], column[ends[0]])
            for row in wanted
            if ties(row) and len(ends := frame.ends(row)) == 1
        ),
        anchors=tuple(anchor for row in wanted for anchor in _anchors(frame.features, row)),
        distance=distance,
        u_distance=u_distance,
        belief=belief,
    )


def _named(frame: Frame, place: int) -> NamedRow:
    row = frame.named[place]
    return NamedRow(row.index, row.size, row.u, frame.choices[place])


def _edge(frame: Frame, row: Wanted, place: int, column: int) -> Edge:
    edges = {index: frame.edges(index) for index in frame.choices[place]}
    return Edge(row.index, column, float(row.size or 0.0), row.u, edges)


def _anchors(features: Features, row: Wanted) -> list[Anchor]:
    if row.row.kind != "overall" or row.row.along is None or row.size is None:
        return []
    candidates = overall_candidates(features, row.row)
    return [Anchor(row.index, row.size, row.u, candidates[0])] if len(candidates) == 1 else []


def _distances(frame: Frame) -> tuple[Array, Array]:
    count = len(frame.features.cylinders)
    distance, u = np.full((count, count), np.nan), np.full((count, count), np.nan)
    for (i, j), candidate in frame.pairs.items():
        distance[i, j] = distance[j, i] = candidate.value
        u[i, j] = u[j, i] = candidate.u
    return distance, u
