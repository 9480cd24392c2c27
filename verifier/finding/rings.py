"""Round walls: points square to a direction whose normals all meet on one axis."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from verifier.finding.doubt import evenly
from verifier.finding.fits import frame_along
from verifier.finding.surface import Surface
from verifier.finding.tiles import Tiles, tiles_over
from verifier.mesh import Array, BoolArray, IntArray, crossed

# Sine of the angle between a wall's normal and the plane square to its axis: a moulded bore's draft is at most 5
# degrees (0.09), scatter shared over 2 mm tilts by 1.2 degrees.
MOST_LEAN = 0.2
# A ball's equator looks like a short cylinder; its area doubles with the lean allowed. A cylinder gains its blends.
STRICT_LEAN, MOST_GAIN = 0.1, 1.6
LEAST_AREA_MM2 = 1.5
LEAST_RADIUS_MM, MOST_RADIUS_MM = 0.5, 250.0
# Fillets and rounded edges are most of what lies in no plane, and face a quarter of a turn. Judged with gaps of the
# step that 0.45 mm spacing makes on a 3 mm bore.
LEAST_TURN_DEG, COARSEST_STEP_RAD = 180.0, 0.3
TRIALS, JUDGES = 200, 800
# Voting for axes: so many points, each with one of its nearest so many.
VOTERS, SEEDS, NEAR = 10_000, 600, 14
LEAST_VOTES, MOST_AXES = 20, 12
SHIELD_COSINE = 0.9  # 26 degrees between a point's normal and the circle's own


@dataclass(frozen=True, slots=True)
class Ring:
    """A round wall as first seen, before it is fitted.

    axis_point_mm, axis : (3,)
    points : (k,) the surface's points on it
    arc_deg : how much of the turn they cover
    """

    kind: Literal["bore", "boss"]
    axis_point_mm: Array
    axis: Array
    radius_mm: float
    points: IntArray
    arc_deg: float


@dataclass(frozen=True)
class _Drawn:
    """Points of a patch drawn along an axis: worked out once, however many rings are taken from it.

    points : (k,) the surface's points; flat_mm, facing : (k, 2) their places and normals across the axis
    reach_mm : (k,) how far off a circle each may lie
    """

    points: IntArray
    flat_mm: Array
    facing: Array
    reach_mm: Array

    @cached_property
    def tiles(self) -> Tiles:
        """The points by tiles, for those near a circle."""
        return tiles_over(self.flat_mm)

    def on(self, centre: Array, signed_radius: float, left: BoolArray) -> IntArray:
        """Which of those that are left lie on a circle, in rising order."""
        near = self.tiles.near_circle(centre, abs(signed_radius), float(self.reach_mm.max()))
        near = near[left[near]]
        flat, facing = np.take(self.flat_mm, near, axis=0), np.take(self.facing, near, axis=0)
        return near[on_circle(flat, facing, centre, signed_radius, self.reach_mm[near])]


def _drawn(surface: Surface, points: IntArray, axis: Array, band_mm: float) -> _Drawn:
    turn = np.stack(frame_along(axis)[:2])
    flat = np.take(surface.points_mm, points, axis=0) @ turn.T
    facing = np.take(surface.normals, points, axis=0).astype(np.float64) @ turn.T
    return _Drawn(points, flat, facing, band_mm + surface.chord_mm[points])


def rings_along(surface: Surface, free: BoolArray, axis: Array, band_mm: float) -> Iterator[Ring]:
    """Round walls about axes of one direction among the free points; arcs of half a turn and more too.

    band_mm : points this far off a circle still count to it
    """
    lean = np.abs(surface.normals @ axis.astype(np.float32))
    chosen = np.flatnonzero(free & (lean < MOST_LEAN))
    count, patch = surface.patches(chosen)
    area = np.bincount(patch, surface.areas_mm2[chosen], minlength=count)
    order = np.argsort(patch, kind="stable")
    edges = np.searchsorted(patch[order], np.arange(count + 1))
    worth = (area >= LEAST_AREA_MM2) & _may_face_half_a_turn(surface.normals[chosen], patch, np.diff(edges), axis)
    for label in np.flatnonzero(worth):
        drawn = _drawn(surface, chosen[order[edges[label] : edges[label + 1]]], axis, band_mm)
        left, left_mm2 = np.ones(len(drawn.points), dtype=bool), float(area[label])
        while left_mm2 >= LEAST_AREA_MM2:
            found = _ring_in(surface, drawn, left, axis)
            if found is None:
                break
            ring, on = found
            yield ring
            left[on] = False
            left_mm2 -= float(surface.areas_mm2[ring.points].sum())


def _ring_in(surface: Surface, patch: _Drawn, left: BoolArray, axis: Array) -> tuple[Ring, IntArray] | None:
    """The circle most points left of a patch lie on, and which; None where they face less than half a turn."""
    found, still = None, np.flatnonzero(left)
    if _faces_half_a_turn(patch.facing, still):
        few = still[evenly(len(still), JUDGES)]
        found = _vote(patch.flat_mm[few], patch.facing[few], patch.reach_mm[few], len(still))
    if found is None:
        return None
    centre, signed = found
    if not LEAST_RADIUS_MM < abs(signed) < MOST_RADIUS_MM:
        return None
    on = patch.on(centre, signed, left)
    points = patch.points[on]
    lean = np.abs(surface.normals[points] @ axis.astype(np.float32))
    strict = surface.areas_mm2[points[lean < STRICT_LEAN]].sum()
    area = surface.areas_mm2[points].sum()
    if area < LEAST_AREA_MM2 or area > MOST_GAIN * strict:
        return None
    u, v, w = frame_along(axis)
    away = patch.flat_mm[on] - centre
    middle = float((surface.points_mm[points] @ w).mean())
    point = u * centre[0] + v * centre[1] + w * middle
    arc = arc_deg(np.arctan2(away[:, 1], away[:, 0]), surface.spacing_mm / abs(signed))
    return Ring("boss" if signed > 0 else "bore", point, w, abs(signed), points, arc), on


def _may_face_half_a_turn(normals: NDArray[np.float32], patch: IntArray, counts: IntArray, axis: Array) -> BoolArray:
    """Which patches may face half a turn and more, to a degree; small ones are told all at once, the others may.

    normals, patch : (k, 3), (k,) of the points of all patches; counts : how many each has
    """
    small = counts <= JUDGES
    some = np.flatnonzero(small[patch])
    facing = normals[some] @ np.stack(frame_along(axis)[:2]).T
    turn = np.mod(np.arctan2(facing[:, 1], facing[:, 0]), 2.0 * np.pi)
    order = np.lexsort((turn, patch[some]))
    turn, of = turn[order], patch[some][order]
    first = np.flatnonzero(np.diff(of, prepend=-1))
    after = np.roll(turn, -1)
    after[np.roll(first, -1) - 1] = turn[first] + 2.0 * np.pi
    gaps = after - turn
    gaps[gaps <= 2.5 * COARSEST_STEP_RAD] = 0.0
    return ~small | (360.0 - np.degrees(np.bincount(of, gaps, len(counts))) > LEAST_TURN_DEG - 1.0)


def _faces_half_a_turn(facing: Array, which: IntArray) -> bool:
    """Whether points of a patch face half a turn and more; some of them may say so, since they have no fewer gaps."""
    return any(
        arc_deg(np.arctan2(facing[some, 1], facing[some, 0]), COARSEST_STEP_RAD) >= LEAST_TURN_DEG
        for some in (which[:: 1 + len(which) // JUDGES], which)
    )


def circle_by_vote(flat_mm: Array, facing: Array, band_mm: Array) -> tuple[Array, float] | None:
    """Circle that most points agree on in place and in normal: centre (2,), radius, negative for a bore.

    band_mm : (n,) a point this far off the circle still counts to it
    Two points p, q with normals m, n give the radius (p - q).(m - n) / |m - n|^2 and the centre p - radius m.
    """
    few = evenly(len(flat_mm), JUDGES)
    return _vote(flat_mm[few], facing[few], band_mm[few], len(flat_mm))


def _vote(p: Array, facing: Array, band: Array, of: int) -> tuple[Array, float] | None:
    """The same by some points that stand for so many."""
    rng = np.random.default_rng(of)
    n = facing / np.maximum(np.linalg.norm(facing, axis=1, keepdims=True), 1e-9)
    first, second = rng.integers(0, len(p), (2, TRIALS))
    turned = n[first] - n[second]
    size = (turned**2).sum(axis=1)
    usable = size > 0.1  # normals at least 18 degrees apart
    first, second, turned, size = first[usable], second[usable], turned[usable], size[usable]
    radius = ((p[first] - p[second]) * turned).sum(axis=1) / size
    centre = 0.5 * (p[first] + p[second] - radius[:, None] * (n[first] + n[second]))
    fits = (np.abs(radius) > LEAST_RADIUS_MM) & (np.abs(radius) < MOST_RADIUS_MM)
    if not fits.any():
        return None
    centre, radius = centre[fits], radius[fits]
    x, y = p[:, 0] - centre[:, :1], p[:, 1] - centre[:, 1:]
    distance = np.maximum(np.sqrt(x * x + y * y), 1e-9)
    outwards = (x * n[:, 0] + y * n[:, 1]) / distance * np.sign(radius)[:, None]
    on = (np.abs(distance - np.abs(radius)[:, None]) < band) & (outwards > SHIELD_COSINE)
    best = int(np.argmax(on.sum(axis=1)))
    return _settled(p, n, centre[best], float(radius[best]), band)


def _settled(p: Array, n: Array, centre: Array, radius: float, band_mm: Array) -> tuple[Array, float]:
    """Centre and radius from all points on the circle, until they stand still: centre + radius n = p, linear."""
    for _ in range(5):
        on = on_circle(p, n, centre, radius, band_mm)
        if on.sum() < 6:
            break
        pm, nm = p[on].mean(axis=0), n[on].mean(axis=0)
        turned = n[on] - nm
        radius = float(((p[on] - pm) * turned).sum() / max((turned**2).sum(), 1e-12))
        centre = pm - radius * nm
    return centre, radius


def on_circle(p: Array, n: Array, centre: Array, signed_radius: float, band_mm: Array) -> BoolArray:
    """Which points lie on a circle and face away from its middle (towards it for a negative radius), (n,)."""
    x, y = p[:, 0] - centre[0], p[:, 1] - centre[1]  # column by column, in half the time of rows
    distance = np.maximum(np.sqrt(x * x + y * y), 1e-9)
    on = np.abs(distance - abs(signed_radius)) < band_mm
    near = np.flatnonzero(on)
    outwards = (x[near] * n[near, 0] + y[near] * n[near, 1]) / distance[near] * np.sign(signed_radius)
    on[near] = outwards > SHIELD_COSINE
    return np.asarray(on)


def arc_deg(angle_rad: Array, step_rad: float) -> float:
    """How much of the turn is covered: all of it less the gaps.

    step_rad : angle from one point to the next where all is seen; a gap counts from 10 degrees or 2.5 steps on
    """
    turn = np.sort(np.mod(angle_rad, 2.0 * np.pi))
    gaps = np.diff(turn, append=turn[0] + 2.0 * np.pi)
    return float(360.0 - np.degrees(gaps[gaps > max(np.radians(10.0), 2.5 * step_rad)].sum()))


def bent_axes(points_mm: Array, normals: NDArray[np.float32]) -> list[Array]:
    """Directions about which a surface bends sharply, those most points agree on first.

    Near-by points whose normals differ by 12 degrees or more vote for the direction square to both normals. A bore's
    wall votes for its axis; a gently curved face, its normals differing less, has no vote.
    """
    few = evenly(len(points_mm), VOTERS)
    if len(few) < 2 * NEAR:
        return []
    p, n = points_mm[few], normals[few].astype(np.float64)
    near = cKDTree(p).query(p, k=NEAR)[1]
    partner = near[np.arange(len(p)), 1 + np.arange(len(p)) % (NEAR - 1)]
    axes = crossed(n, n[partner])
    length = np.linalg.norm(axes, axis=1)
    axes = axes[length > np.sin(np.radians(12.0))] / length[length > np.sin(np.radians(12.0)), None]
    seeds = axes[evenly(len(axes), SEEDS)]
    cosines = seeds @ axes.T
    agree = np.abs(cosines, out=cosines) > np.cos(np.radians(5.0))
    votes = np.array([np.count_nonzero(row) for row in agree])
    taken: list[Array] = []
    for seed in np.argsort(-votes, kind="stable"):
        if votes[seed] < LEAST_VOTES or len(taken) == MOST_AXES:
            break
        if not taken or np.abs(np.array(taken) @ seeds[seed]).max() < np.cos(np.radians(8.0)):
            taken.append(np.linalg.eigh(axes[agree[seed]].T @ axes[agree[seed]])[1][:, -1])
    return taken
