"""The least wall of a part and where it is, as a calliper with small feet would find it going over the whole surface.

From places all over the measured surface the other side is looked for through the material. Where two sides face each
other a foot is set on both, and the wall there is the distance of the mean of the points under one foot to the mean
under the other: no single noisy point decides.
"""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.special import log_ndtr

from verifier.finding.doubt import evenly
from verifier.finding.feature import Noise
from verifier.finding.surface import Surface
from verifier.mesh import Array, IntArray

# The feet of small calliper jaws are 2 to 3 mm across (common practice, no source).
FOOT_MM = 2.5
# Two sides are a wall where their normals oppose within this; edges and corners do not.
OPPOSED_COSINE, LEAN = float(np.cos(np.radians(25.0))), float(np.tan(np.radians(25.0)))
# A foot rests on the wall where so much of its area is measured surface that faces it, and all but a few of the points
# under and close round it do: not beside an edge, which a scanner rounds, and on no rib narrower than the foot.
LEAST_REST, ROUND_FOOT_MM, MOST_ASKEW = 0.8, 0.4, 0.03
# Of a dense scan points so far apart are used: a foot has 80 of them, and white scatter of 0.05 mm is 0.006 mm in their
# mean. Places to look from lie a third of a foot apart. On parts over 12,000 mm2 both lie farther.
POINTS_APART_MM, MOST_POINTS = 0.25, 200_000
PLACES_APART_MM, MOST_PLACES = FOOT_MM / 3.0, 20_000
# Feet are set at the places that look thinnest, a few first and then at most so many; what lies this many uncertainties
# above the least one cannot become it by scatter.
FIRST_FEET, MOST_FEET, WITHIN_U = 30, 1000, 6.0
# So many feet that nothing else overlaps tell their scatter about a smooth wall to an eighth.
FEET_FOR_SCATTER = 30
# The noise of a foot is known to about a half: a wall that departs from a smooth one by no more is taken for smooth.
SMOOTH_WITHIN = 1.5
# A wall looks as thick as it is, but for the scatter of nine points and the lean of its sides, up to 25 degrees.
LOOKS_THICKER = 1.5
FIRST_STEP_MM = 0.1
MOST_STEPS = 60


@dataclass(frozen=True, slots=True)
class Wall:
    """The least wall: thickness and standard uncertainty in mm, and the middles of both feet, (2, 3)."""

    value_mm: float
    u_mm: float
    points_mm: Array


@dataclass(frozen=True, slots=True)
class _Cloud:
    """Measured points with unit normals, (n, 3), the area each stands for, (n,), and how far apart they are."""

    points: Array
    normals: Array
    areas: Array
    apart_mm: float
    tree: cKDTree


@dataclass(frozen=True, slots=True)
class _Foot:
    """The wall between two feet, its standard uncertainty from scatter shorter than a foot, and their middles."""

    value_mm: float
    u_mm: float
    points_mm: Array


def thinnest_wall(surface: Surface, noise: Noise, *, under_mm: float = np.inf) -> Wall | None:
    """The least wall among all places where a foot of 2.5 mm rests on both sides; None where there is none.

    under_mm : thicker walls are of no interest; where every place looks much thicker none is looked for, and it is None
    Of many feet on an even wall the least is the one that scatter made least: what that takes off on average is given
    back, and half of it stands in the uncertainty beside the scatter of one foot.
    """
    seen = np.flatnonzero(surface.seen & (surface.areas_mm2 > 0.0))
    if len(seen) == 0:
        return None
    cloud = _cloud(surface, seen)
    if np.isfinite(under_mm) and not _looks_thinner(cloud, LOOKS_THICKER * under_mm):
        return None
    here, there = _across(cloud, np.inf)
    feet = _feet(cloud, *_thinnest_places(cloud, here, there), noise)
    return _least(feet, noise) if feet else None


def _cloud(surface: Surface, seen: IntArray) -> _Cloud:
    enough = int(surface.areas_mm2[seen].sum() / POINTS_APART_MM**2) + 1
    few = seen[evenly(len(seen), min(enough, MOST_POINTS))]
    areas = surface.areas_mm2[few] * (len(seen) / len(few))
    points = surface.points_mm[few]
    apart_mm = float(np.sqrt(areas.sum() / len(few)))
    return _Cloud(points, surface.normals[few].astype(np.float64), areas, apart_mm, cKDTree(points))


def _looks_thinner(cloud: _Cloud, than_mm: float) -> bool:
    """Whether any place does: to know that, the way inwards need not be gone to its end, which takes the most time."""
    return bool((_rough_mm(cloud, *_across(cloud, than_mm)) < than_mm).any())


def _across(cloud: _Cloud, deepest_mm: float) -> tuple[IntArray, IntArray]:
    """Places, and for each the point on the other side of the wall there, where it is met before that depth.

    The way inwards is gone in steps as long as the nearest point is far: no surface lies within such a step. A place
    is given up where it meets a side that does not oppose it.
    """
    here = evenly(len(cloud.points), int(min(MOST_PLACES, cloud.areas.sum() / PLACES_APART_MM**2) + 1))
    depth = np.full(len(here), FIRST_STEP_MM)
    met_here, met_there = [], []
    for _ in range(MOST_STEPS):
        at = cloud.points[here] - depth[:, None] * cloud.normals[here]
        away, nearest = cloud.tree.query(at)
        facing = np.einsum("ij,ij->i", cloud.normals[here], cloud.normals[nearest])
        arrived = (away < 1.5 * cloud.apart_mm) & (facing < OPPOSED_COSINE)
        wall = arrived & (facing < -OPPOSED_COSINE)
        met_here.append(here[wall])
        met_there.append(nearest[wall])
        outside = np.einsum("ij,ij->i", at - cloud.points[nearest], cloud.normals[nearest]) > 0.0
        on = ~arrived & ~outside & (depth < deepest_mm)
        here, depth = here[on], depth[on] + np.maximum(away[on], 0.5 * cloud.apart_mm)
        if len(here) == 0:
            break
    return np.concatenate(met_here), np.concatenate(met_there)


def _thinnest_places(cloud: _Cloud, here: IntArray, there: IntArray) -> tuple[IntArray, IntArray, Array]:
    """Pairs in order of the wall between them, and that wall, the middle one of the pairs under a foot round each."""
    if len(here) == 0:
        return here, there, np.empty(0)
    rough = _rough_mm(cloud, here, there)
    near = cKDTree(cloud.points[here]).query(cloud.points[here], k=9, distance_upper_bound=0.5 * FOOT_MM)[1]
    calm = np.nanmedian(np.append(rough, np.nan)[near], axis=1)
    order = np.argsort(calm, kind="stable")
    return here[order], there[order], calm[order]


def _rough_mm(cloud: _Cloud, here: IntArray, there: IntArray) -> Array:
    """The wall between each pair, from the two points alone."""
    way = cloud.points[here] - cloud.points[there]
    return np.asarray(0.5 * np.einsum("ij,ij->i", way, cloud.normals[here] - cloud.normals[there]))


def _feet(cloud: _Cloud, here: IntArray, there: IntArray, rough_mm: Array, noise: Noise) -> list[_Foot]:
    """Feet that rest on both sides, wherever the least wall can be.

    The first ones tell how thick a place may look and still be it; of too many such places an even choice stands for
    all, so that what choosing the least takes off can be told from them.
    """
    feet: list[_Foot] = []
    enough_mm, tried = np.inf, 0
    for one, other, about_mm in zip(here, there, rough_mm, strict=True):
        if about_mm > enough_mm or len(feet) >= FIRST_FEET:
            break
        tried += 1
        foot = _foot(cloud, one, other, noise)
        if foot is not None:
            feet.append(foot)
            # The middle of nine single places scatters no more than one point does.
            enough_mm = min(enough_mm, foot.value_mm + WITHIN_U * foot.u_mm + noise.spread_mm)
    left = np.arange(tried, int(np.searchsorted(rough_mm, enough_mm)))
    left = left[evenly(len(left), MOST_FEET)]
    return feet + [foot for k in left if (foot := _foot(cloud, here[k], there[k], noise))]


def _foot(cloud: _Cloud, here: int, there: int, noise: Noise) -> _Foot | None:
    axis = cloud.normals[here] - cloud.normals[there]
    axis /= np.linalg.norm(axis)
    middle = 0.5 * (cloud.points[here] + cloud.points[there])
    half_mm = 0.5 * float((cloud.points[here] - cloud.points[there]) @ axis)
    if half_mm <= 0.0:
        return None
    sides = [_under_foot(cloud, middle, way, half_mm) for way in (axis, -axis)]
    one, other = sides
    if one is None or other is None:
        return None
    heights = (_height(cloud, one, axis, middle), _height(cloud, other, -axis, middle))
    area_mm2 = np.pi * FOOT_MM**2 / 4.0
    variance = sum(noise.mean_u_mm(area_mm2, len(side)) ** 2 for side in (one, other))
    points = np.stack([middle + heights[0] * axis, middle - heights[1] * axis])
    return _Foot(sum(heights), float(np.sqrt(variance)), points)


def _under_foot(cloud: _Cloud, middle: Array, way: Array, half_mm: float) -> IntArray | None:
    """Points of the side that looks the way given, under a foot on it; None where the foot does not rest on it."""
    foot_mm = 0.5 * FOOT_MM
    reach_mm = foot_mm + ROUND_FOOT_MM
    found = cloud.tree.query_ball_point(middle + half_mm * way, float(np.hypot(reach_mm, reach_mm * LEAN)))
    near = np.array(found, dtype=np.int64)
    off = cloud.points[near] - middle
    height, facing = off @ way, cloud.normals[near] @ way
    beside = np.sqrt(np.maximum(np.einsum("ij,ij->i", off, off) - height**2, 0.0))
    askew = (beside < reach_mm) & (np.abs(facing) < OPPOSED_COSINE)
    under = (beside < foot_mm) & (height > 0.0) & (facing > OPPOSED_COSINE)
    rest_mm2 = float(cloud.areas[near[under]] @ facing[under])
    rests = askew.sum() <= MOST_ASKEW * len(near) and rest_mm2 > LEAST_REST * np.pi * foot_mm**2
    return near[under] if rests and under.sum() > 3 else None


def _height(cloud: _Cloud, side: IntArray, way: Array, middle: Array) -> float:
    """Of a side over the middle: the plane through its points where the middle of the foot is, for an uneven rest."""
    off = cloud.points[side] - middle
    height = off @ way
    slope = np.column_stack([np.ones(len(side)), off - height[:, None] * way])
    return float(np.linalg.lstsq(slope, height, rcond=None)[0][0])


def _least(feet: list[_Foot], noise: Noise) -> Wall:
    value, u = (np.array([getattr(foot, key) for foot in feet]) for key in ("value_mm", "u_mm"))
    best = int(value.argmin())
    rivals = np.flatnonzero(value < value[best] + WITHIN_U * u[best])
    share = _own_share(noise)
    middles = np.array([feet[i].points_mm.mean(axis=0) for i in rivals])
    smooth, scatter_mm = _smooth_wall(middles, value[rivals], u[best], share * len(rivals))
    lost_mm = _lost_by_choice(value[rivals], smooth, scatter_mm, share)
    # Long waves are alike under neighbouring feet: they are not chosen among, and stand on both sides in full.
    u_mm = float(np.sqrt(scatter_mm**2 + (0.5 * lost_mm) ** 2 + 2.0 * noise.wave_mm**2))
    return Wall(float(value[best] + lost_mm), u_mm, feet[best].points_mm)


def _own_share(noise: Noise) -> float:
    """How much of a choice each foot is that others do not overlap; every wall is looked at from both its sides.

    A smooth random surface with a correlation length l crosses high levels about like one independent choice per l^2
    (an approximation of our own, at some 2.5 sigma); the mean over a foot of radius r adds r^2 / 4 to l^2.
    """
    # Without flat faces the length is told badly, and too long; beyond half a foot it is not believed.
    alike_mm2 = min(noise.correlation_mm, 0.5 * FOOT_MM) ** 2 + FOOT_MM**2 / 16.0
    return min(1.0, PLACES_APART_MM**2 / (2.0 * alike_mm2))


def _smooth_wall(middles: Array, value: Array, u_mm: float, independent: float) -> tuple[Array, float]:
    """A smooth wall through these feet and the scatter of a foot about it.

    independent : how many feet that nothing else overlaps these are worth
    Even, straight or quadratic in space, as so many feet ask for (Schwarz, Annals of Statistics 6 (1978) 461-464): a
    wall bent after the scatter would itself dip below the least one. The scatter is what these feet show, where the
    scan's noise explains it: on a part without a flat face the noise is known badly, and its form may be taken for
    noise. Where they show more the wall is not smooth, and the noise counts; so it does of a few feet.
    """
    kept = _through(np.ones((len(value), 1)), value)
    for slope in _slopes(middles):
        tried = _through(slope, value)
        enough = len(value) > slope.shape[1] and independent > tried.terms + 1
        if enough and tried.cost(independent) < kept.cost(independent):
            kept = tried
    over = independent - kept.terms
    if over < FEET_FOR_SCATTER:
        return kept.values, u_mm
    shown_mm = float(np.sqrt(kept.mean_square * independent / over))
    return kept.values, shown_mm if shown_mm < SMOOTH_WITHIN * u_mm else u_mm


@dataclass(frozen=True, slots=True)
class _Smooth:
    """A wall fitted through feet: its thickness at each, (n,), mean squared departure, and how many terms it took."""

    values: Array
    mean_square: float
    terms: int

    def cost(self, independent: float) -> float:
        """Schwarz's criterion: less is better."""
        terms = self.terms * np.log(max(independent, 1.0))
        return float(independent * np.log(max(self.mean_square, 1e-18)) + terms)


def _through(slope: Array, value: Array) -> _Smooth:
    found, _, terms, _ = np.linalg.lstsq(slope, value, rcond=1e-3)
    values = slope @ found
    return _Smooth(values, float(np.mean((value - values) ** 2)), int(terms))


def _slopes(middles: Array) -> tuple[Array, Array]:
    """Terms of a straight and of a quadratic wall at these places, (n, 4) and (n, 10)."""
    at = (middles - middles.mean(axis=0)) / max(float(np.ptp(middles, axis=0).max()), 1e-9)
    squares = [at[:, i] * at[:, j] for i in range(3) for j in range(i, 3)]
    straight = np.column_stack([np.ones(len(at)), at])
    return straight, np.column_stack([straight, *squares])


def _lost_by_choice(value: Array, smooth: Array, u_mm: float, share: float) -> float:
    """How far below the true least the least of these is on average, by scatter alone.

    The true thicknesses are taken as the found ones drawn to the smooth wall by the share of their variance about it
    that scatter explains (after James and Stein 1961; from memory, not confirmed). The least of independent normal
    values lies above x with the product of their chances to, each to the power of its share; its mean is summed from
    that.
    """
    if len(value) == 1:
        return 0.0
    real = max(0.0, 1.0 - u_mm**2 / max(float(np.mean((value - smooth) ** 2)), 1e-18))
    true = smooth + real * (value - smooth)
    x = np.linspace(true.min() - 6.0 * u_mm, true.min() + 6.0 * u_mm, 601)
    above = np.exp(share * log_ndtr((true[None] - x[:, None]) / u_mm).sum(axis=1))
    weight, at = -np.diff(above), 0.5 * (x[1:] + x[:-1])
    return float(true.min() - weight @ at / weight.sum())
