"""Roundings: what a ball leaves that is rolled along two flats, or along a flat and a round wall square to it.

______            A ball that touches both has its middle on one line, or ring, whatever its size: a rounding is
      `.          known by its radius alone, and each patch of it tells that. Seen for a millimetre where it runs
 (  o  )|         into a hole, it goes on through it as the flats do.
        |
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np

from verifier.mending.form_finding import LEAST_MM2, LEAST_RADIUS_MM, MOST_FORMS, MOST_RADIUS_MM, fitted
from verifier.mending.forms import LOOKS_ALIKE, ON_FORM_MM, Flat, Form, Patches, Ring, Round, is_same, lies_on
from verifier.mesh import Array, BoolArray

# Two flats have an edge from 15 degrees on (cosine), and a patch of its rounding looks so much away from either, and
# no further out of the plane across the edge: more than scatter turns a patch (0.03 mm over half a millimetre).
EDGE_COSINE = 0.966
# A round wall is square to a flat within 5 degrees: two fits of what a hole left.
SQUARE = 0.996
# Radii tried, each that of one patch.
RADII_TRIED = 48
# Of the turn from one face to the other so many equal parts are looked at, and in so many there must be patches: what
# only touches both somewhere is no rounding.
PARTS_OF_TURN, LEAST_PARTS = 4, 2
# So long a stretch of it must be seen, all of those parts: two spacings of a scan.
SEEN_MM = 1.0
# Of what lies where a rounding is or would have nothing, so much more must be for it than against.
MORE_FOR_IT = 2.0
# A rounding of a round edge with nearly the edge's own radius is a ball: the three edges of a corner rounded alike.
BALL_SHARE = 0.1
# Of a round wall that is a rounding so much may lie neither on that nor on the faces beside it.
ELSE = 0.3
# Flats are fitted without what turned out to be roundings, and these once more between those.
ROUNDS = 2
# A face of a scan across a sharp edge, its sides as long as the way from point to point and half as long again, looks
# like a rounding of a radius of one spacing.
LEAST_SPACINGS = 1.5
# No more forms than this, of which every side is a bit of 63.
MOST = 48
# So many patches fix a plane with one to spare.
LEAST_PATCHES = 4


@dataclass(frozen=True, slots=True)
class Edge:
    """Two faces seen in the plane across their edge: patches that may be of its rounding.

    cosine : of the angle between the faces' normals; off_mm, way : (n, 2) how far each patch lies off both faces and
    how much it looks as they do; areas_mm2 : (n,)
    """

    cosine: float
    off_mm: Array
    way: Array
    areas_mm2: Array

    def radii_mm(self, bulge: int) -> Array:
        """Radius of the ball that touches both faces and each patch, (n,); NaN where there is none.

        bulge : 1 for an edge of the part, the ball within it; -1 for an inner edge
        """
        wider = 2.0 / (1.0 + self.cosine) - 1.0
        towards = bulge * self.off_mm.sum(axis=1) / (1.0 + self.cosine)
        room = towards**2 - wider * self._dot(self.off_mm, self.off_mm)
        return np.where(room >= 0.0, (-towards + np.sqrt(np.maximum(room, 0.0))) / wider, np.nan)

    def held(self, radii_mm: Array, bulge: int) -> BoolArray:
        """Which patches lie on each of some roundings and look as they do, (n, k)."""
        squared = self._dot(self.off_mm, self.off_mm)[:, None]
        out = bulge * self.off_mm.sum(axis=1)[:, None] / (1.0 + self.cosine)
        spoke = np.sqrt(np.maximum(squared + 2.0 * radii_mm * out + 2.0 * radii_mm**2 / (1.0 + self.cosine), 1e-12))
        looking = bulge * self._dot(self.off_mm, self.way)[:, None] + radii_mm * (
            self.way.sum(axis=1)[:, None] / (1.0 + self.cosine)
        )
        return np.asarray((np.abs(spoke - radii_mm) < ON_FORM_MM) & (looking / spoke > LOOKS_ALIKE))

    def cut_off(self, radius_mm: float, bulge: int) -> BoolArray:
        """Which patches lie in what a rounding cuts off the edge, where a part that has it has nothing, (n,)."""
        out = bulge * self.off_mm
        beside = (out < ON_FORM_MM) & (out > -radius_mm * (1.0 - self.cosine))
        squared = self._dot(out + radius_mm, out + radius_mm)
        return np.asarray(beside.all(axis=1) & (squared > (radius_mm + ON_FORM_MM) ** 2))

    def turn(self) -> Array:
        """How far each patch is turned from the first face to the second, 0 to 1, (n,)."""
        return np.asarray(np.arccos(np.clip(self.way[:, 0], -1.0, 1.0)) / np.arccos(self.cosine))

    def between(self) -> BoolArray:
        """Which patches look between the faces, as neither of them and out of the plane by scatter alone, (n,)."""
        towards = (self.way - self.cosine * self.way[:, ::-1] > 0.0) & (self.way < EDGE_COSINE)
        return np.asarray(towards.all(axis=1) & (self._dot(self.way, self.way) > EDGE_COSINE**2))

    def looks_alike(self) -> BoolArray:
        """Which patches look between the faces, or as one of them does, (n,)."""
        return np.asarray(self.between() | (self.way > LOOKS_ALIKE).any(axis=1))

    def at(self, chosen: BoolArray) -> "Edge":
        """With the patches chosen, (n,)."""
        return Edge(self.cosine, self.off_mm[chosen], self.way[chosen], self.areas_mm2[chosen])

    def _dot(self, one: Array, other: Array) -> Array:
        """Inner products of vectors in the plane of which the products with both normals are known, (n,)."""
        across = one[:, 0] * other[:, 1] + one[:, 1] * other[:, 0]
        return np.asarray(((one * other).sum(axis=1) - self.cosine * across) / (1.0 - self.cosine**2))


@dataclass(frozen=True, slots=True, eq=False)
class Rolled:
    """A rounding, the two faces that it lies between, and the patches that lie on it and look between them, (n,)."""

    form: Round | Ring
    beside: tuple[Flat, Flat | Round]
    on: BoolArray

    def cuts_off(self, face: Form, points_mm: Array) -> BoolArray:
        """Which points of a face lie between where the rounding leaves it and the edge, (n,)."""
        if face is self.beside[0]:
            other: Flat | Round = self.beside[1]
        elif face is self.beside[1]:
            other = self.beside[0]
        else:
            return np.zeros(len(points_mm), dtype=bool)
        sign = 1 if isinstance(other, Flat) else other.outward
        off_mm = self.form.outward * sign * other.off_mm(points_mm)
        return np.asarray((off_mm < 0.0) & (off_mm > -self.form.radius_mm * (1.0 - self.cosine)))

    def past(self, points_mm: Array) -> tuple[BoolArray, BoolArray]:
        """Which of some points on the rounding lie beyond where the one and the other face begins, (n,) each."""
        flat, other = self.beside
        looking = self.form.outward * self.form.looking(points_mm)
        towards = other.looking(points_mm) * (1 if isinstance(other, Flat) else other.outward)
        one, two = looking @ flat.normal, np.einsum("nx,nx->n", looking, towards)
        return np.asarray(two < self.cosine * one), np.asarray(one < self.cosine * two)

    @property
    def cosine(self) -> float:
        """Of the angle between the normals of the two faces."""
        one, other = self.beside
        return float(one.normal @ other.normal) if isinstance(other, Flat) else 0.0


def with_roundings(forms: Sequence[Form], patches: Patches, spacing_mm: float) -> tuple[list[Form], list[Rolled]]:
    """Forms with the roundings between them, in place of those round walls and strips that were roundings badly seen.

    spacing_mm : between the corners of the scan, on which it depends what a rounding is
    """
    least_mm = max(LEAST_RADIUS_MM, LEAST_SPACINGS * spacing_mm)
    rolled: list[Rolled] = []
    for _ in range(ROUNDS):
        flats = [_refitted(form, rolled, patches) for form in forms if isinstance(form, Flat)]
        rounds = [form for form in forms if isinstance(form, Round)]
        found = _found_between(flats, rounds, patches, least_mm)
        rounds = [each for each in rounds if not any(_is_seen_in(each, one, patches) for one in found)]
        rolled = _that_hold_most(found, rounds, patches)
        if not rolled:
            return list(forms), []
        rest = patches.at(~np.any([lies_on(each.form, patches) for each in rolled], axis=0))
        faces: list[Form] = [*flats, *rounds]
        forms = [form for form in faces if rest.areas_mm2[lies_on(form, rest)].sum() > LEAST_MM2]
    rolled += _rolled_on(rolled, forms)
    return _without_doubles([*(form for each in rolled for form in (*each.beside, each.form)), *forms])[:MOST], rolled


def _found_between(flats: Sequence[Flat], rounds: Sequence[Round], patches: Patches, least_mm: float) -> list[Rolled]:
    """Every rounding between flats, between flats and round walls, and where the former run into a flat."""
    found = [r for pair in combinations(flats, 2) for r in _balls_along(pair, patches, least_mm)]
    at_rounds = [r for pair in product(flats, rounds) for r in _balls_along(pair, patches, least_mm)]
    rings = [each for each in at_rounds if not _is_ball(each.form)]
    for wall in found:
        if isinstance(wall.form, Round):
            beside = ~np.any(wall.past(patches.middles_mm), axis=0)
            rings += [r for flat in flats for r in _balls_along((flat, wall.form), patches, least_mm, beside)]
    return [*found, *rings]


def _is_seen_in(wall: Round, rolled: Rolled, patches: Patches) -> bool:
    """Whether a round wall is a rounding with some of the faces beside it: hardly anything else lies on it."""
    mine = patches.at(lies_on(wall, patches))
    other = ~np.any([lies_on(form, mine) for form in (rolled.form, *rolled.beside)], axis=0)
    return rolled.form.outward == wall.outward and bool(mine.areas_mm2[other].sum() < ELSE * mine.areas_mm2.sum())


def _is_ball(form: Form) -> bool:
    return isinstance(form, Ring) and form.around_mm == 0.0


def _without_doubles(forms: Sequence[Form]) -> list[Form]:
    kept: list[Form] = []
    for form in forms:
        if not any(form is other or is_same(form, other) for other in kept):
            kept.append(form)
    return kept


def _that_hold_most(found: Sequence[Rolled], others: Sequence[Form], patches: Patches) -> list[Rolled]:
    """The rounding that holds most of what is left, again and again; what others hold is theirs.

    Only those patches count that no face beside it can hold.
    """
    left = patches.areas_mm2.copy()
    for form in others:
        left[lies_on(form, patches)] = 0.0
    chosen: list[Rolled] = []
    while found and len(chosen) < MOST_FORMS:
        held = np.array([each.on for each in found]) @ left
        best = found[int(held.argmax())]
        if held.max() < LEAST_MM2:
            break
        left[lies_on(best.form, patches)] = 0.0
        chosen.append(best)
    return chosen


def _refitted(flat: Flat, rolled: Sequence[Rolled], patches: Patches) -> Flat:
    """A flat by those of its patches that no rounding beside it holds as well."""
    beside = [lies_on(each.form, patches) for each in rolled if any(face is flat for face in each.beside)]
    on = lies_on(flat, patches) & ~np.any([np.zeros(len(patches.areas_mm2), dtype=bool), *beside], axis=0)
    if not beside or patches.areas_mm2[on].sum() < LEAST_MM2 or on.sum() < LEAST_PATCHES:
        return flat
    made = fitted(flat, patches.at(np.asarray(on)))
    return made if isinstance(made, Flat) else flat


def parted(forms: Sequence[Form], step_mm: float) -> list[Form]:
    """Forms, roundings a little thicker: no two points a step apart lie outside one, beside where it touches a form.

    Between such points what a rounding cuts off an edge would be one with the part behind the form.
    """
    flats = [form for form in forms if isinstance(form, Flat)]
    return [_thicker(form, flats, step_mm) for form in forms]


def _thicker(form: Form, flats: Sequence[Flat], step_mm: float) -> Form:
    if isinstance(form, Flat) or not any(_touches(form, flat) for flat in flats):
        return form
    wall_mm = form.radius_mm if isinstance(form, Round) else form.radius_mm + form.around_mm
    by_mm = step_mm**2 / 8.0 * (1.0 / form.radius_mm + (1.0 / wall_mm if isinstance(form, Ring) else 0.0))
    return replace(form, radius_mm=form.radius_mm + by_mm)


def _touches(form: Round | Ring, flat: Flat) -> bool:
    along = abs(float(form.axis @ flat.normal))
    beside = along < 0.1 if isinstance(form, Round) else along > SQUARE or form.around_mm == 0.0
    return beside and abs(abs(float(flat.off_mm(form.at_mm[None])[0])) - form.radius_mm) < ON_FORM_MM


def _have_an_edge(flat: Flat, other: Flat | Round) -> bool:
    if isinstance(other, Flat):
        return abs(float(flat.normal @ other.normal)) < EDGE_COSINE
    return abs(float(flat.normal @ other.axis)) > SQUARE


def _balls_along(
    faces: tuple[Flat, Flat | Round], patches: Patches, least_mm: float, beside: BoolArray | None = None
) -> list[Rolled]:
    """The roundings between two faces, of the part's edge and of an inner one.

    beside : (n,) patches that lie where both faces do; left out, all do
    """
    flat, other = faces
    if not _have_an_edge(flat, other):
        return []
    edge = _edge(faces, patches)
    between = edge.between() if beside is None else edge.between() & beside
    found = []
    for bulge in (1, -1):
        radius_mm = _radius_mm(edge.at(between), bulge, least_mm)
        form = None if radius_mm is None else _rolled_between(flat, other, radius_mm, bulge)
        if form is None:
            continue
        on = edge.held(np.array([form.radius_mm]), bulge)[:, 0] & between
        against = edge.cut_off(form.radius_mm, bulge) & edge.looks_alike()
        against = against if beside is None else against & beside
        if patches.areas_mm2[on].sum() > MORE_FOR_IT * patches.areas_mm2[against].sum():
            found.append(Rolled(form, faces, on))
    return found


def _rolled_between(flat: Flat, other: Flat | Round, radius_mm: float, bulge: int) -> Round | Ring | None:
    """None where the ball is too large for a round wall."""
    if isinstance(other, Flat):
        return _rounding_of_flats(flat, other, radius_mm, bulge)
    return _rounding_at_wall(flat, other, radius_mm, bulge)


def _rounding_of_flats(one: Flat, other: Flat, radius_mm: float, bulge: int) -> Round:
    axis = np.cross(one.normal, other.normal)
    axis /= np.linalg.norm(axis)
    planes = np.stack([one.normal, other.normal, axis])
    depths = np.array([one.at_mm @ one.normal, other.at_mm @ other.normal, one.at_mm @ axis])
    at_mm: Array = np.asarray(np.linalg.solve(planes, depths - bulge * radius_mm * np.array([1.0, 1.0, 0.0])))
    return Round(at_mm, axis, radius_mm, bulge)


def _rounding_at_wall(flat: Flat, wall: Round, radius_mm: float, bulge: int) -> Ring | None:
    """None where the ball is too large for the wall."""
    around_mm = wall.radius_mm - bulge * wall.outward * radius_mm
    if abs(around_mm) < BALL_SHARE * wall.radius_mm:
        around_mm, radius_mm = 0.0, wall.radius_mm
    if around_mm < 0.0:
        return None
    foot = wall.at_mm - float(flat.off_mm(wall.at_mm[None])[0]) / float(flat.normal @ wall.axis) * wall.axis
    return Ring(foot - bulge * radius_mm * flat.normal, flat.normal, around_mm, radius_mm, bulge)


def _edge(faces: tuple[Flat, Flat | Round], patches: Patches) -> Edge:
    flat, other = faces
    sign = 1 if isinstance(other, Flat) else other.outward
    off = np.stack([flat.off_mm(patches.middles_mm), sign * other.off_mm(patches.middles_mm)], axis=1)
    looking = [flat.looking(patches.middles_mm), sign * other.looking(patches.middles_mm)]
    way = np.stack([np.einsum("nx,nx->n", each, patches.normals) for each in looking], axis=1)
    cosine = float(flat.normal @ other.normal) if isinstance(other, Flat) else 0.0
    return Edge(cosine, off, way, patches.areas_mm2)


def _radius_mm(edge: Edge, bulge: int, least_mm: float) -> float | None:
    """Radius of the ball that was rolled along an edge; None where none was.

    bulge : 1 for one within the part, -1 for one outside
    """
    edge = edge.at(np.asarray((bulge * edge.off_mm < ON_FORM_MM).all(axis=1)))
    radii = edge.radii_mm(bulge)
    likely = np.flatnonzero((radii > least_mm) & (radii < MOST_RADIUS_MM))
    if edge.areas_mm2[likely].sum() < LEAST_MM2:
        return None
    tried = np.sort(radii[likely])[np.linspace(0, len(likely) - 1, RADII_TRIED).astype(np.int64)]
    best = float(tried[int((edge.areas_mm2 @ edge.held(tried, bulge)).argmax())])
    for _ in range(3):
        mine = np.flatnonzero(edge.held(np.array([best]), bulge)[:, 0] & np.isfinite(radii))
        if len(mine) == 0:
            return None
        best = _weighted_median(radii[mine], edge.areas_mm2[mine])
    mine = np.flatnonzero(edge.held(np.array([best]), bulge)[:, 0])
    parts = np.unique((PARTS_OF_TURN * edge.turn()[mine]).astype(np.int64))
    least_mm2 = max(LEAST_MM2, SEEN_MM * np.arccos(edge.cosine) * best / PARTS_OF_TURN * LEAST_PARTS)
    return best if edge.areas_mm2[mine].sum() > least_mm2 and len(parts) >= LEAST_PARTS else None


def _weighted_median(values: Array, weights: Array) -> float:
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(total, 0.5 * total[-1])])


def _rolled_on(rolled: Sequence[Rolled], forms: Sequence[Form]) -> list[Rolled]:
    """A ball in a corner of three flats rolled on along all of its edges."""
    flats = [form for form in forms if isinstance(form, Flat)]
    nothing = np.zeros(len(rolled[0].on) if rolled else 0, dtype=bool)
    found: list[Rolled] = []
    for ball in (each.form for each in rolled):
        if _is_ball(ball):
            for one, other in combinations([flat for flat in flats if _touches(ball, flat)], 2):
                if _have_an_edge(one, other):
                    form = _rounding_of_flats(one, other, ball.radius_mm, ball.outward)
                    if not any(is_same(form, each.form) for each in (*rolled, *found)):
                        found.append(Rolled(form, (one, other), nothing))
    return found
