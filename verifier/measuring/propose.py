"""For a part without a sheet: the sizes worth measuring with the calliper."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from verifier.finding.feature import Ball, BoreRectangle, Cylinder, Features, Plane, Slot
from verifier.finding.thinnest import thinnest_wall
from verifier.measuring.balls import ball_candidate
from verifier.measuring.candidate import Candidate
from verifier.measuring.circles import pitch_circle
from verifier.measuring.cylinders import across, centre_distance, parallel_partners
from verifier.measuring.faces import face_pairs
from verifier.measuring.slots import sides_of_slots
from verifier.measuring.sunk import OF_A_BORE
from verifier.measuring.whereabouts import Whereabouts, whereabouts
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow, SizeKind

# More than a page of rows is not measured by anyone; scale and coat are known well from a dozen (common practice).
MOST_ROWS = 15
# Shares of it: overall sizes, bores and bosses, distances between them, thicknesses, slots, balls.
MOST_CYLINDERS, MOST_DISTANCES, MOST_THICKNESSES, MOST_SLOTS, MOST_BALLS = 6, 4, 2, 2, 2
SHORT_WORTH = "a short outside size: powder counts most here"
# Four bores and more that lie on one circle were meant to; three always do.
LEAST_ON_CIRCLE, MOST_MISFIT = 4, 4.0
# Less than this between the pitches of four bores, and a square was meant.
LEAST_OBLONG_MM = 0.5
# About five strands of a common nozzle: a wall thinner than that is worth a look (common practice, no source).
THIN_MM = 2.5
# What the first rows are there for.
FIRST_WORTH: Mapping[SizeKind, str] = {
    "overall": "the longer, the better it tells the scanner's scale",
    "bore": "powder makes it smaller, and outside sizes larger: with the length it tells powder from scale",
    "boss": "powder makes it larger",
    "centre distance": "powder does not act on it: it checks the scale",
}
# What opens a bore at its mouth, and what to know of reading it; an angle is told by the screw's head that fits.
SUNK_WORTH: Mapping[SizeKind, str] = {
    "countersink diameter": "across the rim, where side and face would meet",
    "counterbore diameter": "",
    "counterbore depth": "from the face to the floor",
}
# Axes nearer than this are one axis: the bore through a boss.
ONE_AXIS_MM = 1.0
# Two sizes are the same when they differ by less: no calliper row is worth writing twice.
SAME_MM = 0.1


Along = Literal["length", "width", "height"]


@dataclass(frozen=True, slots=True)
class ProposedRow:
    """A row to be, with the scan's own value.

    name : says where: 'bore 3, long end', 'bore 1 to bore 3', 'slot 1 width, middle'
    between, through, of, along : as in a sheet's row
    measured_mm, u_mm : on the scan as it is, degrees for an angle
    points_mm : (2, 3) for the callout
    features : names of the features it was taken from
    worth : what a reading of it is good for, a few words
    """

    name: str
    kind: SizeKind
    measured_mm: float
    u_mm: float
    points_mm: Array
    between: tuple[str, str] | None = None
    of: str | None = None
    along: Along | None = None
    through: tuple[str, ...] | None = None
    features: tuple[str, ...] = ()
    worth: str = ""


def propose_rows(features: Features) -> tuple[ProposedRow, ...]:
    """At most MOST_ROWS sizes, by what a reading of them is worth.

    First those that tell scale from powder: the longest overall size, the largest bore, a thickness, the longest centre
    distance. Then the other bores and bosses with the distances that place them, slots, pitch circles, and what is left
    of thicknesses and overall sizes.
    """
    overall, line = _overall(features), whereabouts(features)
    # The wide part of a counterbored bore is measured as a counterbore, with its depth.
    wide = {each.wide for each in features.counterbores}
    whole = [c for c in (*features.bores, *features.bosses) if c.name not in wide]
    cylinders = whole[:MOST_CYLINDERS]
    round_rows = [_diameter(cylinder, line) for cylinder in cylinders]
    named = {row.features[0]: row.name for row in round_rows}
    # Bores at the corners of a square are given by their pitch circle, others by their two pitches.
    oblong = [each for each in features.rectangles if each.long_mm - each.short_mm > LEAST_OBLONG_MM]
    distances = _distances(oblong, cylinders, named, features.planes)
    sunk = [row for each in cylinders if each.kind == "bore" for row in _sunk(features, each, named[each.name])]
    slots = [row for slot in features.slots[:MOST_SLOTS] for row in _slot(slot, line)]
    balls = [_ball(ball, line) for ball in features.balls if ball.kind == "ball"][:MOST_BALLS]
    sides = sides_of_slots(features)
    thicknesses = _thicknesses([p for p in features.planes if p.name not in sides], overall, line)
    # The smallest overall size does where no thickness is another one.
    short = thicknesses[:1] or overall[1:][-1:]
    first = [*overall[:1], *round_rows[:1], *short, *distances[:1]]
    # A distance is no row without the two bores it is between, so the bores go before.
    rest = [
        *round_rows[1:],
        *distances[1:],
        *sunk,
        *slots,
        *balls,
        *_pitch_circles(cylinders, named, oblong),
        *overall[1:],
        *thicknesses[1:],
    ]
    placed = {row.name for row in first}
    told = [
        replace(row, worth=SHORT_WORTH if row.name in {each.name for each in short} else FIRST_WORTH[row.kind])
        for row in first
    ]
    rest = [row for row in rest if row.name not in placed]
    return tuple([*told, *_thin_wall(features), *rest][:MOST_ROWS])


def _placed(name: str, point_mm: Array, line: Whereabouts | None) -> str:
    return name if line is None else f"{name}, {line.word(point_mm)}"


def _overall(features: Features) -> list[ProposedRow]:
    rows = []
    along: Along
    for along in ("length", "width", "height"):
        for extent in features.extents:
            if extent.name == along:
                size, u, points = extent.length_mm, extent.u_length_mm, extent.ends_mm
                rows.append(ProposedRow(along, "overall", size, u, points, along=along, features=(along,)))
    return rows


def _thicknesses(
    planes: Sequence[Plane], overall: Sequence[ProposedRow], line: Whereabouts | None
) -> list[ProposedRow]:
    """The thicknesses with the largest faces that are no overall size and differ from each other."""
    area = {plane.name: plane.area_mm2 for plane in planes}
    chosen: list[ProposedRow] = []
    for pair in sorted(face_pairs(planes), key=lambda p: -min(area[name] for name in p.features)):
        new = all(abs(pair.value - row.measured_mm) > SAME_MM for row in (*overall, *chosen))
        if new and len(chosen) < MOST_THICKNESSES:
            name = _placed(f"thickness {len(chosen) + 1}", pair.points_mm.mean(axis=0), line)
            chosen.append(ProposedRow(name, "thickness", pair.value, pair.u, pair.points_mm, features=pair.features))
    return chosen


def _thin_wall(features: Features) -> list[ProposedRow]:
    """The least wall, where it is thin."""
    wall = None if features.surface is None else thinnest_wall(features.surface, features.noise, under_mm=THIN_MM)
    if wall is None or wall.value_mm >= THIN_MM:
        return []
    worth = "the thinnest wall found: read it, and say how thin it may be"
    return [ProposedRow("least wall", "least wall", wall.value_mm, wall.u_mm, wall.points_mm, worth=worth)]


def _diameter(cylinder: Cylinder, line: Whereabouts | None) -> ProposedRow:
    name = _placed(cylinder.name, cylinder.axis_point_mm, line)
    size, u = cylinder.diameter_mm, cylinder.u_diameter_mm
    return ProposedRow(name, cylinder.kind, size, u, across(cylinder), features=(cylinder.name,))


def _sunk(features: Features, bore: Cylinder, called: str) -> list[ProposedRow]:
    """Countersinks and counterbores of one bore, by the name its row has."""
    rows = []
    for kind, worth in SUNK_WORTH.items():
        asked = SheetRow(name=called, kind=kind, of=called)
        for place in OF_A_BORE[kind](features, asked, bore):
            name = f"{place.features[0]} {'depth' if kind == 'counterbore depth' else 'diameter'}"
            size, u, points = place.value, place.u, place.points_mm
            rows.append(ProposedRow(name, kind, size, u, points, of=called, features=place.features, worth=worth))
    return rows


def _slot(slot: Slot, line: Whereabouts | None) -> list[ProposedRow]:
    side = np.cross(slot.axis, slot.along)
    return [
        ProposedRow(
            _placed(f"{slot.name} {what}", slot.centre_mm, line),
            "slot width" if what == "width" else "slot length",
            size,
            u,
            slot.centre_mm + 0.5 * size * np.stack([-way, way]),
            features=(slot.name,),
        )
        for what, size, u, way in (
            ("width", slot.width_mm, slot.u_width_mm, side),
            ("length", slot.length_mm, slot.u_length_mm, slot.along),
        )
    ]


def _ball(ball: Ball, line: Whereabouts | None) -> ProposedRow:
    place = ball_candidate(ball)
    name = _placed(ball.name, ball.centre_mm, line)
    return ProposedRow(name, "ball", place.value, place.u, place.points_mm, features=place.features)


def _distance(pair: Candidate, named: Mapping[str, str]) -> ProposedRow:
    one, other = pair.features
    between = (named[one], named[other])
    name = f"{one} to {other}"
    return ProposedRow(
        name, "centre distance", pair.value, pair.u, pair.points_mm, between=between, features=pair.features
    )


def _distances(
    rectangles: Sequence[BoreRectangle],
    cylinders: Sequence[Cylinder],
    named: Mapping[str, str],
    faces: Sequence[Plane],
) -> list[ProposedRow]:
    """The two pitches of each rectangle, and what else is worth measuring between bores; the longest first."""
    pitches = [row for each in rectangles for row in _pitches(each, cylinders, named, faces)]
    pairs = [
        pair
        for pair in worthwhile_pairs(cylinders, faces)
        if not any(set(pair.features) <= set(r.bores) for r in rectangles)
    ]
    rows = [*pitches, *(_distance(pair, named) for pair in pairs)]
    return sorted(rows, key=lambda row: -row.measured_mm) if pitches else rows


def _pitches(
    rectangle: BoreRectangle, cylinders: Sequence[Cylinder], named: Mapping[str, str], faces: Sequence[Plane]
) -> Iterator[ProposedRow]:
    """The two pitches of four bores, each between two neighbours; none where one of the bores is on no row."""
    if not set(rectangle.bores) <= set(named):
        return
    bore = {cylinder.name: cylinder for cylinder in cylinders}
    for what, one, other in (("long", *rectangle.bores[:2]), ("short", *rectangle.bores[1:3])):
        pair = centre_distance(bore[one], bore[other], faces)
        if pair is not None:
            yield replace(_distance(pair, named), name=f"{rectangle.name}, {what} pitch")


def _pitch_circles(
    cylinders: Sequence[Cylinder], named: Mapping[str, str], rectangles: Sequence[BoreRectangle]
) -> list[ProposedRow]:
    """The circle through four or more equal bores, where they all lie on one; corners of a rectangle always do."""
    rows = []
    cornered = [set(each.bores) for each in rectangles]
    for group in (group for group in _equal(cylinders) if {bore.name for bore in group} not in cornered):
        found = pitch_circle(group) if len(group) >= LEAST_ON_CIRCLE else None
        if found is not None and found[1] < MOST_MISFIT * len(group):
            circle = found[0]
            through = tuple(named[bore.name] for bore in group)
            name = f"pitch circle of {len(group)} bores"
            rows.append(
                ProposedRow(
                    name,
                    "pitch circle",
                    circle.value,
                    circle.u,
                    circle.points_mm,
                    through=through,
                    features=circle.features,
                )
            )
    return rows


def _equal(cylinders: Sequence[Cylinder]) -> list[list[Cylinder]]:
    """Bores in groups of equal diameter; they come in order of diameter."""
    groups: list[list[Cylinder]] = []
    for bore in (c for c in cylinders if c.kind == "bore"):
        if groups and abs(groups[-1][0].diameter_mm - bore.diameter_mm) < 2.0 * SAME_MM:
            groups[-1].append(bore)
        else:
            groups.append([bore])
    return groups


def worthwhile_pairs(cylinders: Sequence[Cylinder], faces: Sequence[Plane]) -> list[Candidate]:
    """The longest centre distance, and the chain of nearest neighbours that joins all: n, not n (n - 1) / 2.

    Of a bore through a boss only one is joined: they share an axis.
    """
    pairs = list(parallel_partners(tuple(cylinders), faces).values())
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
