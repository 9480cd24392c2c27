"""Which of the last few poses it is: close steps on all points, then the fit of each against the best."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.comparing.alignment import Alignment, Alternative
from verifier.comparing.buried import BURIED_SHARE, buried_share
from verifier.comparing.cloud import Cloud, evenly_facing
from verifier.comparing.fit import beneath_of
from verifier.comparing.pose import angle_between_deg, distinct, inverse
from verifier.comparing.refining import Target, partners, refined, target_of
from verifier.mesh import Array, BoolArray, IntArray

FINE_POINTS = 1800
FINE_STEPS = 6
JUDGED_POINTS = 6000
START_SHARE, REACH_SHARE = 0.006, 0.06
# The overlap's residual: robust, and no less than this, below which poses are equal for any purpose at a bench.
LEAST_SPREAD_MM = 0.01
# A real surface lies within four spreads of its like.
SPREADS = 4.0
# A block is this share of the part across: a boss of a few millimetres fills one.
BLOCK_SHARE = 0.07
RIM_NEIGHBOURS = 6
LEAST_OVERLAP = 0.2
MOST_CONFLICT = 0.15
# From here on one surface lies wholly on the other, and no area is left that a rival could hide in.
WHOLE_OVERLAP = 0.9
# Rival poses differ by what more than this many standard errors says, over blocks that err together.
SURE_Z = 4.0
# Of some 300 blocks the greatest lead by chance is 2 to 3 standard deviations.
SURE_LEAD = 4.0
# At a rim up to a third of a block's points find no partner by chance; of a face that is not there none do.
MOST_MISSED, FEWEST_IN_BLOCK = 0.5, 15
# Points at rims find a partner or not by chance; a difference of fewer points than this says nothing.
LEAST_GAIN_POINTS = 12.0
# The right pose of two views had at most 0.1 % buried in nine trials looked at; more than this is another pose.
MOST_BURIED = 0.015
# Of partial views a rival worth this much of the best one is told, and the pose not called sure.
RIVAL_SHARE = 0.6


@dataclass(frozen=True, slots=True)
class _Judged:
    """One pose looked at with all points.

    cost : (n,) 0 to 1, the squared distance in tolerances, cut at one
    beneath : (n,) the other surface lies beneath the point
    buried : share of both surfaces that sticks in the other's material
    """

    pose: Array
    away_mm: Array
    cost: Array
    beneath: BoolArray
    buried: float

    @property
    def agree(self) -> BoolArray:
        """Which points lie on the other surface, (n,)."""
        return np.asarray(self.beneath & (self.cost < 1.0))

    @property
    def merit(self) -> Array:
        """What each point says for the pose, -1 to 1."""
        return np.asarray(self.beneath * (1.0 - 2.0 * self.cost))


@dataclass(frozen=True, slots=True)
class _Pair:
    """The two surfaces, ready for look-ups both ways."""

    moving: Cloud
    fixed: Cloud
    on_moving: Target
    on_fixed: Target
    size_mm: float


def decided(poses: Array, moving: Cloud, fixed: Cloud, size_mm: float) -> Alignment:
    """The best of a few poses, its figures, and the others that do as well.

    size_mm : length across the smaller surface
    """
    pair = _Pair(
        moving.thinned(JUDGED_POINTS), fixed.thinned(JUDGED_POINTS), target_of(moving), target_of(fixed), size_mm
    )
    start = START_SHARE * size_mm
    gates = np.geomspace(start, max(3.0 * LEAST_SPREAD_MM, start / 12.0), FINE_STEPS)
    poses = refined(poses, moving.of(evenly_facing(moving, FINE_POINTS)), pair.on_fixed, gates)
    tolerance = _tolerance_mm(poses, pair, start)
    judged = [_judged(pose, pair, tolerance) for pose in poses]
    worth = _worth(judged)
    judged = [judged[i] for i in np.argsort(-worth, kind="stable")]
    kept = distinct(np.array([each.pose for each in judged]), pair.moving.points_mm, 4.0 * tolerance)
    best, rivals = judged[0], [judged[i] for i in kept[1:]]
    back = _looked_at(inverse(best.pose), pair.fixed, pair.on_moving, tolerance, size_mm)
    inner, outer = _share(best.agree), _share(_agree(*back))
    whole = max(inner, outer) > WHOLE_OVERLAP
    equal = _as_good(best, rivals, pair.moving) if whole else _not_ruled_out(best, rivals)
    larger = (pair.fixed, pair.on_fixed) if inner > outer else (pair.moving, pair.on_moving)
    alternatives = tuple(
        _alternative(
            best, rival, harmless=whole and _is_symmetry(_between(best, rival, inner > outer), *larger, tolerance)
        )
        for rival in equal
    )
    return _alignment(best, _share(_agree(*back)), alternatives)


def _tolerance_mm(poses: Array, pair: _Pair, most_mm: float) -> float:
    """Four spreads of the closest pose's residuals."""
    found = partners(pair.on_fixed, pair.moving, poses)
    near = beneath_of(found, pair.on_fixed, most_mm) & (np.abs(found.away_mm) < most_mm)
    best = int(np.argmax(near.sum(axis=1)))
    spread = 1.4826 * float(np.median(np.abs(found.away_mm[best][near[best]]))) if near[best].any() else most_mm
    return SPREADS * max(spread, LEAST_SPREAD_MM)


def _judged(pose: Array, pair: _Pair, tolerance: float) -> _Judged:
    away, cost, beneath = _looked_at(pose, pair.moving, pair.on_fixed, tolerance, pair.size_mm)
    buried = buried_share(pair.moving, pair.on_fixed, pose, pair.size_mm)
    buried += buried_share(pair.fixed, pair.on_moving, inverse(pose), pair.size_mm)
    return _Judged(pose, away, cost, beneath, buried)


def _looked_at(
    pose: Array, cloud: Cloud, target: Target, tolerance: float, size_mm: float
) -> tuple[Array, Array, BoolArray]:
    """Distance, cost and whether there is anything beneath, for each point."""
    found = partners(target, cloud, pose[None], RIM_NEIGHBOURS)
    away = found.away_mm[0]
    beneath = beneath_of(found, target, tolerance)[0] & (np.abs(away) < REACH_SHARE * size_mm)
    return away, np.minimum((away / tolerance) ** 2, 1.0), beneath


def _agree(_away: Array, cost: Array, beneath: BoolArray) -> BoolArray:
    return np.asarray(beneath & (cost < 1.0))


def _share(chosen: BoolArray) -> float:
    return float(np.mean(chosen))


def _worth(judged: Sequence[_Judged]) -> Array:
    """What each pose is worth beside the others: its fit, less and less the more of it is buried."""
    buried = np.array([each.buried for each in judged])
    fit = np.array([max(float(each.merit.mean()), 1e-6) for each in judged])
    return np.asarray(fit * np.exp(-(buried - buried.min()) / BURIED_SHARE))


def _as_good(best: _Judged, rivals: Sequence[_Judged], moving: Cloud) -> list[_Judged]:
    """Rivals that fit no worse than scatter explains, where one surface lies wholly on the other."""
    return [rival for rival in rivals if not _worse(rival, best, moving)]


def _worse(rival: _Judged, best: _Judged, moving: Cloud) -> bool:
    """Whether a pose fits worse than scatter explains: on the whole, or in one place that it leaves unexplained.

    How much scatter explains is read off the points that fit under both poses, summed by blocks that err together. A
    boss that one pose alone explains is no scatter, however small its share of the surface: at rims points change
    sides by chance, as many one way as the other, while in the boss's block all change the same way.
    """
    gain = best.merit - rival.merit
    ahead, behind = _changed_sides(best, rival)
    for label in _blocks(moving):
        sums = np.bincount(label, gain * (best.agree & rival.agree))
        if gain.sum() > SURE_Z * float(np.sqrt(np.sum(sums**2))) + LEAST_GAIN_POINTS:
            return True
        most, least = np.bincount(label, ahead), np.bincount(label, behind)
        lead = (most - least) / np.sqrt(most + least + 1.0)
        if lead.max() > SURE_LEAD and lead.max() > -1.5 * lead.min() and gain.sum() > 0.0:
            return True
    return False


def _blocks(cloud: Cloud) -> Iterable[IntArray]:
    """Which block each point lies in, (n,): once, and once more with blocks half a block farther on."""
    middle = cloud.points_mm - cloud.points_mm.mean(axis=0)
    along = middle @ np.linalg.eigh(middle.T @ middle)[1]
    side = BLOCK_SHARE * float(np.linalg.norm(np.ptp(along, axis=0)))
    for start in (0.0, 0.5):
        cell = np.floor(along / side + start).astype(np.int64)
        yield np.asarray(np.unique(cell, axis=0, return_inverse=True)[1], dtype=np.int64).ravel()


def _changed_sides(best: _Judged, rival: _Judged) -> tuple[BoolArray, BoolArray]:
    """Points that only the best pose explains, and points that only the rival does."""
    return best.agree & ~rival.agree, rival.agree & ~best.agree


def _not_ruled_out(best: _Judged, rivals: Sequence[_Judged]) -> list[_Judged]:
    """Rivals of partial views: less overlap is no proof against a pose, so all that are worth nearly as much."""
    worth = _worth([best, *rivals])
    return [rival for rival, own in zip(rivals, worth[1:], strict=True) if own > RIVAL_SHARE * worth[0]]


def _between(best: _Judged, rival: _Judged, as_fixed: bool) -> Array:
    """How the fixed surface would lie on itself if both poses were right, or else the moving one."""
    return rival.pose @ inverse(best.pose) if as_fixed else inverse(best.pose) @ rival.pose


def _is_symmetry(pose: Array, surface: Cloud, target: Target, tolerance: float) -> bool:
    """Whether a surface lies on itself under a pose, with no place of it left unexplained.

    A view of a part may lie on it in two ways because it shows nothing of what tells them apart; the part is symmetric
    only where the larger of the two surfaces says so.
    """
    size_mm = float(np.linalg.norm(np.ptp(surface.points_mm, axis=0)))
    missed = ~_agree(*_looked_at(pose, surface, target, tolerance, size_mm))
    for label in _blocks(surface):
        count = np.bincount(label)
        share = np.bincount(label, missed) / np.maximum(count, 1)
        if (share[count >= FEWEST_IN_BLOCK] > MOST_MISSED).any():
            return False
    return _share(missed) < 1.0 - WHOLE_OVERLAP


def _alternative(best: _Judged, rival: _Judged, *, harmless: bool) -> Alternative:
    return Alternative(rival.pose, float(angle_between_deg(rival.pose, best.pose)), harmless)


def _alignment(best: _Judged, fixed_overlap: float, alternatives: tuple[Alternative, ...]) -> Alignment:
    agree = best.agree
    rms = float(np.sqrt(np.mean(best.away_mm[agree] ** 2))) if agree.any() else float("inf")
    overlap, beneath = _share(agree), _share(best.beneath)
    conflict = (beneath - overlap) / beneath if beneath > 0 else 1.0
    buried = 0.0 if max(overlap, fixed_overlap) > WHOLE_OVERLAP else best.buried
    reason = _doubt(max(overlap, fixed_overlap), conflict, buried, alternatives)
    return Alignment(best.pose, rms, overlap, fixed_overlap, conflict, alternatives, reason == "", reason)


def _doubt(overlap: float, conflict: float, buried: float, alternatives: tuple[Alternative, ...]) -> str:
    if overlap < LEAST_OVERLAP:
        return f"only {100 * overlap:.0f} % of the surfaces lie on each other"
    if conflict > MOST_CONFLICT:
        return f"{100 * conflict:.0f} % of what lies on the other surface does not fit it"
    if buried > MOST_BURIED:
        return f"{100 * buried:.0f} % of the two would lie inside each other"
    if any(not other.harmless for other in alternatives):
        return "another pose fits as well"
    return ""
