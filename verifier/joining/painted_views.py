"""Which arrangement of several views their paint tells from the others."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from verifier.comparing.fit import beneath_of
from verifier.comparing.refining import partners
from verifier.joining.agreement import unlike
from verifier.joining.arranging import Arrangement
from verifier.joining.paint import Painted, in_the_open, painted
from verifier.joining.paint_told import Matched, likeness, patches_of, tells_from
from verifier.joining.view import NEIGHBOURS, View
from verifier.mesh import Array

# Surfaces that face alike within this are one, as for the eye of `agreement` before scatter is known.
ONE_SURFACE_MM = 0.3


def told_by_paint(ways: Sequence[Arrangement], views: Sequence[View]) -> int | None:
    """The number of the way whose views are painted alike where they meet, and no other's; None if none is told."""
    paints = {k: paint for k, view in enumerate(views) if (paint := _paint_of(view)) is not None}
    pairs = tuple(combinations(sorted(paints), 2))
    met = {(w, pair): _met(way, pair, views, paints) for w, way in enumerate(ways) for pair in pairs}

    def tells(w: int, other: int) -> bool:
        apart = [pair for pair in pairs if _differ(ways[w], ways[other], pair, views)]
        return tells_from(*(likeness([met[each, pair] for pair in apart]) for each in (w, other)))

    for w in range(len(ways)):
        if all(tells(w, other) for other in range(len(ways)) if other != w):
            return w
    return None


def _paint_of(view: View) -> Painted | None:
    """With what stands at the foot or may be shaded left out."""
    if view.scan.colours is None:
        return None
    return painted(view.scan, view.cloud, in_the_open(view.cloud) & ~view.foot)


def _between(way: Arrangement, pair: tuple[int, int]) -> Array:
    """Takes points of the first view of a pair into the second's frame."""
    first, second = pair
    return np.asarray(np.linalg.inv(way.poses[second]) @ way.poses[first])


def _differ(one: Arrangement, other: Arrangement, pair: tuple[int, int], views: Sequence[View]) -> bool:
    """Whether two ways put a pair of views to each other otherwise."""
    view = views[pair[0]]
    return unlike(view.asked.points_mm, _between(one, pair), _between(other, pair)) > view.cloud.spacing_mm


def _met(way: Arrangement, pair: tuple[int, int], views: Sequence[View], paints: dict[int, Painted]) -> Matched:
    one, other = (views[k] for k in pair)
    found = partners(other.target, one.cloud, _between(way, pair)[None], NEIGHBOURS)
    on = np.flatnonzero(
        beneath_of(found, other.target, ONE_SURFACE_MM)[0] & (np.abs(found.away_mm[0]) < ONE_SURFACE_MM)
    )
    return patches_of(paints[pair[0]], paints[pair[1]], on, found.index[0][on])
