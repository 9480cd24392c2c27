"""For a part without a sheet: the sizes worth measuring with the calliper."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from verifier.finding.feature import Cylinder, Features, Plane
from verifier.measuring.candidate import Candidate
from verifier.measuring.cylinders import across, parallel_partners
from verifier.measuring.faces import face_pairs
from verifier.mesh import Array
from verifier.rulebook.sheet import SizeKind

# More than a page of rows is not measured by anyone; scale and coat are known well from a dozen (common practice).
MOST_ROWS = 15
# Shares of it: overall sizes, bores and bosses, distances between them, thicknesses.
MOST_CYLINDERS, MOST_DISTANCES, MOST_THICKNESSES = 6, 4, 2
# A bore is called a bore from this much of the turn on: below it the diameter hangs on the noise.
LEAST_ARC_DEG = 300.0
# Axes nearer than this are one axis: the bore through a boss.
ONE_AXIS_MM = 1.0
# Two sizes are the same when they differ by less: no calliper row is worth writing twice.
SAME_MM = 0.1


@dataclass(frozen=True, slots=True)
class ProposedRow:
    """A row to be, with the scan's own value.

    name : says where, in the words of the features: 'bore 3', 'bore 1 to bore 3'
    between, of, along : as in a sheet's row
    measured_mm, u_mm : on the scan as it is, degrees for an angle
    points_mm : (2, 3) for the callout
    """

    name: str
    kind: SizeKind
    measured_mm: float
    u_mm: float
    points_mm: Array
    between: tuple[str, str] | None = None
    of: str | None = None
    along: Literal["length", "width", "height"] | None = None


def propose_rows(features: Features) -> tuple[ProposedRow, ...]:
    """At most MOST_ROWS sizes, the longest overall size first, then thicknesses, bores, bosses and their distances."""
    overall = _overall(features)
    cylinders = [c for c in (*features.bores, *features.bosses) if c.arc_deg >= LEAST_ARC_DEG][:MOST_CYLINDERS]
    rows = [
        *overall,
        *_thicknesses(features.planes, overall),
        *(_diameter(cylinder) for cylinder in cylinders),
        *(_distance(pair) for pair in worthwhile_pairs(cylinders)),
    ]
    return tuple(rows[:MOST_ROWS])


def _overall(features: Features) -> list[ProposedRow]:
    rows = []
    along: Literal["length", "width", "height"]
    for along in ("length", "width", "height"):
        for extent in features.extents:
            if extent.name == along:
                points = extent.ends_mm
                rows.append(ProposedRow(along, "overall", extent.length_mm, extent.u_length_mm, points, along=along))
    return rows


def _thicknesses(planes: Sequence[Plane], overall: Sequence[ProposedRow]) -> list[ProposedRow]:
    """The thicknesses with the largest faces that are no overall size and differ from each other."""
    area = {plane.name: plane.area_mm2 for plane in planes}
    chosen: list[ProposedRow] = []
    for pair in sorted(face_pairs(planes), key=lambda p: -min(area[name] for name in p.features)):
        new = all(abs(pair.value - row.measured_mm) > SAME_MM for row in (*overall, *chosen))
        if new and len(chosen) < MOST_THICKNESSES:
            name = " to ".join(pair.features)
            chosen.append(ProposedRow(name, "thickness", pair.value, pair.u, pair.points_mm))
    return chosen


def _diameter(cylinder: Cylinder) -> ProposedRow:
    return ProposedRow(cylinder.name, cylinder.kind, cylinder.diameter_mm, cylinder.u_diameter_mm, across(cylinder))


def _distance(pair: Candidate) -> ProposedRow:
    one, other = pair.features
    return ProposedRow(f"{one} to {other}", "centre distance", pair.value, pair.u, pair.points_mm, between=(one, other))


def worthwhile_pairs(cylinders: Sequence[Cylinder]) -> list[Candidate]:
    """The longest centre distance, and the chain of nearest neighbours that joins all: n, not n (n - 1) / 2.

    Of a bore through a boss only one is joined: they share an axis.
    """
    pairs = list(parallel_partners(tuple(cylinders)).values())
    one_axis = {max(pair.features) for pair in pairs if pair.value < ONE_AXIS_MM}
    apart = [pair for pair in pairs if not one_axis & set(pair.features)]
    if not apart:
        return []
    longest = max(apart, key=lambda pair: pair.value)
    chain = [pair for pair in nearest_chain(apart) if pair is not longest]
    return [longest, *chain][:MOST_DISTANCES]


def nearest_chain(pairs: Sequence[Candidate]) -> list[Candidate]:
    """The shortest distances that join all features without a ring, shortest first."""
    group: dict[str, set[str]] = {name: {name} for pair in pairs for name in pair.features}
    chain = []
    for pair in sorted(pairs, key=lambda pair: pair.value):
        one, other = (group[name] for name in pair.features)
        if one is not other:
            chain.append(pair)
            joined = one | other
            group |= dict.fromkeys(joined, joined)
    return chain
