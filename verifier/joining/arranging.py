"""Which way several views belong together: likely poses of pairs, put together view by view, judged by all pairs.

A pose that two views alone would allow is let fall where it does not close the loop: put with the others, something
of it then stands where another view saw bare surface, or in its material.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations

import numpy as np

from verifier.comparing.align import likely_poses, size_mm
from verifier.comparing.pose import distinct
from verifier.joining.agreement import (
    IMPOSSIBLE_SHARE,
    MOST_EXPLAINED,
    PUTTY_SHARE,
    Agreement,
    Said,
    agreement_of,
    less_ended,
    turned_by,
    unlike,
)
from verifier.joining.together import refined_together
from verifier.joining.view import View
from verifier.mesh import Array

# Of each pair so many poses are kept, and so many arrangements while they grow.
POSES, ARRANGEMENTS = 5, 6
# One worth this much of the best could as well be right. More are kept where so many could: a hexagon lies on itself in
# twelve ways.
RIVAL_SHARE, MOST_RIVALS = 0.3, 12
# What is worth less than this of the best is let fall.
LEAST_OF_BEST = 0.003
# Poses that put no point farther apart than this share of the part's size are one.
SAME_SHARE = 0.012
MEETING_STEPS, STEPS = 5, 7
START_SHARE, END_MM = 0.006, 0.15
# People scan a part from several ways to see it all round, so views that make one side of a part only, all but the same
# surface twice, are believed less: by e for each of this share of surface that looks one way.
ONE_WAY_SHARE = 0.2
# What so many pairs of views say in a pose is kept: 90 MB.
REMEMBERED = 1000
# Before the last steps scale still parts the views.
EARLY_TOLERANCE_MM = 0.25


@dataclass(frozen=True, slots=True)
class Met:
    """One pose of two views: it takes the second one's points into the first one's frame."""

    pose: Array
    worth: float


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Views in their places.

    poses : one (4, 4) a view, in one frame
    agreements : what every two say of each other, by their numbers
    one_way : how much of the surface they make looks one way, nought for one that closes; told of all views only
    """

    poses: dict[int, Array]
    agreements: dict[tuple[int, int], Agreement]
    one_way: float = 0.0

    @property
    def agree(self) -> float:
        """Share of the surface that more than one view shows, the mean of the views."""
        return float(np.mean([self._share(k, "agree") for k in self.poses]))

    @property
    def impossible(self) -> float:
        """Shares of the views that cannot be, together."""
        return float(np.sum([self._share(k, "impossible") for k in self.poses]))

    @property
    def putty(self) -> float:
        """Shares of the views that would have to be putty, together."""
        return float(np.sum([self._share(k, "putty") for k in self.poses]))

    @property
    def fit(self) -> float:
        """What the views say for it themselves, less and less the more of it cannot be."""
        return self.agree * float(np.exp(-self.impossible / IMPOSSIBLE_SHARE - self.putty / PUTTY_SHARE))

    @property
    def worth(self) -> float:
        """How well it fits, believed less the farther it is from closing."""
        return self.fit * float(np.exp(-self.one_way / ONE_WAY_SHARE))

    def odd_one(self, most_impossible: float) -> int | None:
        """The view without which no more than this share of the views cannot be; None unless it is one alone."""
        if len(self.poses) < 3:
            return None
        without = {k: sum(a.impossible for pair, a in self.agreements.items() if k not in pair) for k in self.poses}
        odd = [k for k, impossible in without.items() if impossible <= most_impossible]
        return odd[0] if len(odd) == 1 else None

    def said(self, view: int) -> list[Said]:
        """What one view's points say of every other."""
        return [a.first if i == view else a.second for (i, j), a in self.agreements.items() if view in (i, j)]

    def _share(self, view: int, what: str) -> float:
        said = self.said(view)
        return float(np.any([getattr(each, what) for each in said], axis=0).mean()) if said else 0.0


def size_of(views: Sequence[View]) -> float:
    """Length across the part: the longest way across any view."""
    return max(size_mm(view.cloud) for view in views)


def pairs_in_rounds(count: int) -> tuple[tuple[tuple[int, int], ...], ...]:
    """Which pairs are tried from nothing: the views one after another and round, then all others."""
    ring = {tuple(sorted((k, (k + 1) % count))) for k in range(count)}
    first = tuple(pair for pair in combinations(range(count), 2) if pair in ring)
    rest = tuple(pair for pair in combinations(range(count), 2) if pair not in ring)
    return (first, rest) if rest else (first,)


def meetings(first: View, second: View) -> tuple[Met, ...]:
    """The likely poses of two views, refined with their scale, the one that is worth most first."""
    size = min(size_mm(first.cloud), size_mm(second.cloud))
    poses = likely_poses(second.cloud, first.cloud)
    found = met_by(poses[distinct(poses, second.asked.points_mm, SAME_SHARE * size)], first, second)
    more = met_by(ways_that_follow(found, second.asked.points_mm, SAME_SHARE * size), first, second)
    return _kept(found + more) if more else found


def ways_that_follow(found: Sequence[Met], points_mm: Array, apart_mm: float) -> Array:
    """The ways that follow from those that fit alike and are not among the found ones, (k, 4, 4).

    What turns one into another turns a third into a fourth: of a hexagon's six ways three tell the others. Of a round
    part no few tell all, and none is told.
    points_mm : of the second view; ways that lay them within apart_mm are one
    """
    poses = np.array([each.pose for each in found]).reshape(-1, 4, 4)
    alike = poses[: _alike([each.worth for each in found])]
    turns = np.einsum("aij,bjk->abik", alike, np.linalg.inv(alike))
    every = np.concatenate([poses, np.einsum("abij,cjk->abcik", turns, alike).reshape(-1, 4, 4)])
    new = [k for k in distinct(every, points_mm, apart_mm) if k >= len(poses)]
    return every[new if len(alike) + len(new) <= MOST_RIVALS else []]


def met_by(poses: Array, first: View, second: View) -> tuple[Met, ...]:
    """Poses (k, 4, 4) of two views refined with their scale, those that are worth most first."""
    if len(poses) == 0:
        return ()
    size = min(size_mm(first.cloud), size_mm(second.cloud))
    gates = np.geomspace(START_SHARE * size, END_MM, MEETING_STEPS)
    found = np.array([refined_together((np.eye(4), pose), (first, second), gates)[1] for pose in poses])
    found = found[distinct(found, second.asked.points_mm, 0.5 * SAME_SHARE * size)]
    return _kept([Met(pose, agreement_of(second, first, pose, size, EARLY_TOLERANCE_MM).worth) for pose in found])


def _kept(found: Iterable[Met]) -> tuple[Met, ...]:
    """Those that are worth most first, and no more than may be needed."""
    order = sorted(found, key=lambda each: -each.worth)
    most = max(POSES, _alike([each.worth for each in order]))
    return tuple(each for each in order[:most] if each.worth > LEAST_OF_BEST * order[0].worth)


def _alike(worths: Sequence[float]) -> int:
    """How many fit alike, of some with the best first."""
    return min(MOST_RIVALS, sum(worth > RIVAL_SHARE * worths[0] for worth in worths))


Ask = Callable[[int, int, bytes], Agreement]


def asking(views: Sequence[View], size: float) -> Ask:
    """What any two of the views say of each other, by their numbers and what a pose between them is made of.

    Arrangements are grown anew with every few more pairs, and come by the same poses again: what was said is kept.
    """

    @lru_cache(maxsize=REMEMBERED)
    def said(first: int, second: int, pose: bytes) -> Agreement:
        between = np.frombuffer(pose).reshape(4, 4)
        return agreement_of(views[first], views[second], between, size, EARLY_TOLERANCE_MM)

    return said


def arrangements(views: Sequence[View], met: dict[tuple[int, int], tuple[Met, ...]], ask: Ask) -> list[Arrangement]:
    """The arrangements of all views, the one that is worth most first; none when some view hangs on no other."""
    size = size_of(views)
    grown = [Arrangement({0: np.eye(4)}, {})]
    while grown and len(grown[0].poses) < len(views):
        k = _next(set(grown[0].poses), len(views), met)
        if k is None:
            return []
        grown = _best(_wider(grown, k, views, met, ask), views, size)
    return grown


def _next(placed: set[int], count: int, met: dict[tuple[int, int], tuple[Met, ...]]) -> int | None:
    """The view that hangs best on those in place."""
    hold = {
        k: max((found[0].worth for pair, found in met.items() if found and _joins(pair, placed, k)), default=0.0)
        for k in range(count)
        if k not in placed
    }
    best = max(hold, key=lambda k: hold[k])
    return best if hold[best] > 0.0 else None


def _joins(pair: tuple[int, int], placed: set[int], k: int) -> bool:
    return k in pair and bool(set(pair) & placed)


def _wider(
    grown: Sequence[Arrangement],
    k: int,
    views: Sequence[View],
    met: dict[tuple[int, int], tuple[Met, ...]],
    ask: Ask,
) -> list[Arrangement]:
    """Each with one more view, at every place that a pair allows."""
    size, wider, least = size_of(views), [], 0.0
    for each in grown:
        tried: list[Array] = []
        for pose in _places(each, k, met):
            if all(unlike(views[k].asked.points_mm, pose, other) > SAME_SHARE * size for other in tried):
                tried.append(pose)
                wider.append(judged({**each.poses, k: pose}, views, size, ask, each.agreements, least=least))
                least = max(least, LEAST_OF_BEST * wider[-1].worth)
    return wider


def _places(grown: Arrangement, k: int, met: dict[tuple[int, int], tuple[Met, ...]]) -> list[Array]:
    found = [
        (each.worth, grown.poses[i] @ each.pose if j == k else grown.poses[j] @ np.linalg.inv(each.pose))
        for (i, j), those in met.items()
        if (j == k and i in grown.poses) or (i == k and j in grown.poses)
        for each in those
    ]
    return [pose for _, pose in sorted(found, key=lambda pair: -pair[0])]


def judged(
    poses: dict[int, Array],
    views: Sequence[View],
    size: float,
    ask: Ask | None = None,
    known: dict[tuple[int, int], Agreement] | None = None,
    *,
    least: float = 0.0,
) -> Arrangement:
    """Poses with what every two of the views say of each other; what is known already is not asked again.

    least : no more is asked once it is certain that they are worth no more than this
    """
    said, ask = dict(known or {}), ask or asking(views, size)
    in_place = {view for pair in said for view in pair}  # what these explain of each other is taken off already
    thirds = {pair: poses.keys() - in_place for pair in said}
    for i, j in combinations(sorted(poses), 2):
        if (i, j) not in said:
            said[i, j] = ask(i, j, np.ascontiguousarray(_between(poses, i, j)).tobytes())
            thirds[i, j] = poses.keys() - {i, j}
            if least > 0.0 and _most_worth(said, poses) <= least:
                break
    return Arrangement(
        poses, {pair: _with_thirds(pair, each, thirds[pair], poses, views, size) for pair, each in said.items()}
    )


def _most_worth(said: dict[tuple[int, int], Agreement], poses: dict[int, Array]) -> float:
    """What poses are worth at most by what some pairs of views say: third views explain nothing but what is buried."""
    known = Arrangement(poses, said)
    cannot_be = [np.any([each.unexplained for each in known.said(k)], axis=0).mean() for k in poses if known.said(k)]
    return float(np.exp(-np.sum(cannot_be) / IMPOSSIBLE_SHARE))


def _with_thirds(
    pair: tuple[int, int],
    said: Agreement,
    thirds: set[int],
    poses: dict[int, Array],
    views: Sequence[View],
    size: float,
) -> Agreement:
    """What two views say of each other, less what others in their places explain."""
    if not 0.0 < said.impossible < MOST_EXPLAINED:
        return said

    def explained(asked: int, other: int, each: Said) -> Said:
        if not (thirds and each.buried.any()):
            return each
        seers = [(views[third], _between(poses, other, third)) for third in thirds]
        return less_ended(each, views[asked], views[other], _between(poses, asked, other), size, seers)

    first, second = pair
    return Agreement(explained(first, second, said.first), explained(second, first, said.second))


def _between(poses: dict[int, Array], one: int, other: int) -> Array:
    """Takes points of one view into another's frame."""
    return np.asarray(np.linalg.inv(poses[other]) @ poses[one])


def _best(grown: list[Arrangement], views: Sequence[View], size: float) -> list[Arrangement]:
    """The most worthy, no two alike."""
    kept: list[Arrangement] = []
    for each in sorted(grown, key=lambda one: -one.worth):
        worthy = not kept or each.worth > LEAST_OF_BEST * kept[0].worth
        if worthy and not any(same(each, other, views, size) for other in kept):
            kept.append(each)
    return kept[: max(ARRANGEMENTS, _alike([each.worth for each in kept]))]


def same(one: Arrangement, other: Arrangement, views: Sequence[View], size: float) -> bool:
    """Whether two arrangements put every view to one place."""
    return all(
        unlike(views[k].asked.points_mm, pose, other.poses[k]) < SAME_SHARE * size for k, pose in one.poses.items()
    )


def finest(each: Arrangement, views: Sequence[View], size: float, *, steps: int = STEPS) -> Arrangement:
    """All poses refined at once, and judged anew by the scatter that is left."""
    gates = np.geomspace(max(4.0 * END_MM, START_SHARE * size / 2.0), END_MM, steps)
    poses = refined_together([each.poses[k] for k in range(len(views))], views, gates)
    found = judged(dict(enumerate(poses)), views, size)
    return replace(found, one_way=_one_way(found, views))


def _one_way(each: Arrangement, views: Sequence[View]) -> float:
    """Vector area of the surface that the views make against all of it; what several show counts once."""
    total, area = np.zeros(3), 0.0
    for k, view in enumerate(views):
        shown = 1.0 + np.sum([said.agree for said in each.said(k)], axis=0)
        point_mm2 = view.area_mm2 / len(view.asked)
        total += point_mm2 * (turned_by(each.poses[k], view.asked.normals) / shown[:, None]).sum(axis=0)
        area += point_mm2 * float((1.0 / shown).sum())
    return float(np.linalg.norm(total)) / max(area, 1e-300)
