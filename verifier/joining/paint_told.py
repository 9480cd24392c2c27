"""Which of several ways of putting views together their paint tells: in the right one a place has one paint in both."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.joining.paint import Painted
from verifier.mesh import Array, IntArray

# Paint is compared patch by patch, of so many spacings across and of no fewer places.
PATCH_SPACINGS, LEAST_PLACES, MOST_PATCHES = 4.0, 3, 800
# Scatter of a camera and the light that the fit misses make this much of a patch's logarithm on one colour, and under
# the window by which a part was turned half round they make it alike at the wrong places, however small.
SAME_PAINT = 0.05
# In the right way two views share this much of what they show. One colour under the harshest light tried came to 0.10.
# By chance as much is shared only so many standard deviations out.
LEAST_LIKE, LEAST_SIGMA = 0.4, 4.0
# The natural logarithm of how much likelier the right way's paint must be than the other's.
LEAST_LIKELIER = 8.0
# Distances, in patches, over which paint is alike.
ALIKE_OVER = np.array([0.5, 1.5, 2.5, 4.0, 6.0, 9.0, 13.0, 20.0, 30.0, 45.0])


@dataclass(frozen=True, slots=True)
class Matched:
    """Patches that two views show in one way of putting them together.

    one, other : (p, 3) paint; at_mm : (p, 3)
    """

    one: Array
    other: Array
    at_mm: Array
    patch_mm: float


@dataclass(frozen=True, slots=True)
class Likeness:
    """How alike two views are painted where they lie on each other.

    share : correlation, 1 for the same paint
    by_chance : its standard deviation where the paint of one has nothing to do with that of the other
    """

    share: float
    by_chance: float

    @property
    def tells(self) -> bool:
        """Whether it is no chance."""
        return self.share > LEAST_LIKE and self.share > LEAST_SIGMA * self.by_chance

    def likelier_than(self, other: "Likeness") -> float:
        """Natural logarithm of how much likelier, for as many independent patches as this one's chance says."""
        mine, its = (min(max(each.share, 0.0), 0.99) for each in (self, other))
        return float(0.5 / self.by_chance**2 * np.log((1.0 - its**2) / (1.0 - mine**2)))


def tells_from(one: Likeness, other: Likeness) -> bool:
    """Whether the paint speaks for one way and against the other."""
    return one.tells and one.likelier_than(other) > LEAST_LIKELIER


def patches_of(one: Painted, other: Painted, of_one: IntArray, of_other: IntArray) -> Matched:
    """The places of one view that lie on places of the other, patch by patch.

    of_one, of_other : (k,) numbers of places that lie on each other
    """
    both = one.known[of_one] & other.known[of_other]
    of_one, of_other = of_one[both], of_other[both]
    patch_mm = PATCH_SPACINGS * one.spacing_mm
    key = np.column_stack([np.floor(one.points_mm[of_one] / patch_mm), np.rint(one.normals[of_one])])
    name, count = np.unique(key, axis=0, return_inverse=True, return_counts=True)[1:] if len(key) else (of_one, of_one)
    sums = [_mean(values, name, count) for values in
            (one.paint[of_one], other.paint[of_other], one.points_mm[of_one])]  # fmt: skip
    large = np.flatnonzero(count >= LEAST_PLACES)
    large = large[:: max(1, -(-len(large) // MOST_PATCHES))]
    return Matched(sums[0][large], sums[1][large], sums[2][large], patch_mm)


def _mean(values: Array, name: IntArray, count: IntArray) -> Array:
    flat = name.ravel()
    return (
        np.column_stack([np.bincount(flat, values[:, k], len(count)) for k in range(3)]) / np.maximum(count, 1)[:, None]
    )


def likeness(every: Sequence[Matched]) -> Likeness:
    """Of all pairs of views together."""
    both = ones = others = variance = 0.0
    for each in every:
        if len(each.one) < 2:
            continue
        a, b = each.one - each.one.mean(axis=0), each.other - each.other.mean(axis=0)
        both += float((a * b).sum())
        ones += float((a * a).sum()) + len(a) * SAME_PAINT**2
        others += float((b * b).sum()) + len(b) * SAME_PAINT**2
        variance += _by_chance(a, b, each)
    if not ones * others > 0.0:
        return Likeness(0.0, 1.0)
    scale = float(np.sqrt(ones * others))
    return Likeness(both / scale, max(float(np.sqrt(variance)) / scale, 1e-6))


def _by_chance(a: Array, b: Array, matched: Matched) -> float:
    """Variance of the sum of products where the two have nothing to do with each other.

    Neighbouring patches are painted alike, and count for less by it: the products of both views' covariances at every
    distance (Clifford, Richardson and Hemon 1989).
    """
    apart = np.linalg.norm(matched.at_mm[:, None] - matched.at_mm[None], axis=2) / matched.patch_mm
    far = np.searchsorted(ALIKE_OVER, apart.ravel())
    count = np.bincount(far, minlength=len(ALIKE_OVER) + 1)
    alone, total = 0.0, 0.0
    for k in range(3):
        for m in range(3):
            of_a, of_b = (np.bincount(far, np.outer(v[:, k], v[:, m]).ravel(), len(count)) for v in (a, b))
            product = of_a * of_b / np.maximum(count, 1)
            total += float(product.sum())
            alone += float((a[:, k] * a[:, m]).sum() * (b[:, k] * b[:, m]).sum() / len(a))
    return max(total, alone)
