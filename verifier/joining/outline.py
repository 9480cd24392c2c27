"""Two rims laid on each other in plan: from every start, by the nearest points of each that face the same way."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from verifier.joining.side import Side
from verifier.mesh import Array, BoolArray

# Starts this far apart in turn; a rim three times as long as wide is caught from 15 degrees off.
STARTS = 24
COARSE_POINTS, FINE_POINTS = 300, 1200
COARSE_STEPS, FINE_STEPS = 12, 15
# Share of the points, nearest first, that a step trusts.
TRUSTED = 0.75
# Two results this near are one: a degree, and a 200th of the part.
SAME_TURN_RAD, SAME_SHARE = np.radians(1.5), 0.005
MOST_RESULTS = 6
# Weight of the direction against the place when the nearest is looked up, as a share of the part's length.
FACING_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Laid:
    """A turn and shift in plan that lays the second rim on the first.

    turn_rad, shift_mm : p' = turn(p) + shift
    off_mm : root mean square of the trusted distances
    """

    turn_rad: float
    shift_mm: Array
    off_mm: float


@dataclass(frozen=True, slots=True)
class Outline:
    """Points of a rim in plan, evenly spread, which way it faces there, (k, 2) each, and how high it lies, (k,).

    sure : (k,) where the surface was seen turning under
    """

    points_mm: Array
    facing: Array
    height_mm: Array
    sure: BoolArray

    def chosen(self, which: BoolArray) -> "Outline":
        """Some of its points."""
        return Outline(self.points_mm[which], self.facing[which], self.height_mm[which], self.sure[which])


def outline_of(side: Side) -> Outline:
    """The rim of a side in plan, evenly spread; where it was seen turning under, that alone counts."""
    cell = np.floor(side.rim_mm[:, :2] / (2.0 * side.spacing_mm)).astype(np.int64)
    name = np.unique(cell, axis=0, return_inverse=True)[1]
    folds = np.bincount(name, side.rim_folds) > 0
    share = np.where(side.rim_folds | ~folds[name], 1.0, 0.0)
    count = np.bincount(name, share)
    mean = np.column_stack([np.bincount(name, share * side.rim_mm[:, k]) / count for k in range(3)])
    way = np.column_stack([np.bincount(name, share * side.rim_out[:, k]) for k in range(2)])
    size = np.linalg.norm(way, axis=1)
    real = size > 0.5 * side.spacing_mm  # edges of a steep wall's scatter run round in circles and cancel
    mean, way = mean[real], way[real] / size[real, None]
    return Outline(mean[:, :2], way, mean[:, 2], folds[real])


def lay_rims(first: Outline, second: Outline, length_mm: float) -> list[Laid]:
    """The different ways of laying the second rim on the first, best first."""
    weight_mm = FACING_SHARE * length_mm
    tree = cKDTree(np.column_stack([first.points_mm, weight_mm * first.facing]))
    middles = first.points_mm.mean(axis=0), second.points_mm.mean(axis=0)
    starts = [_start(2 * np.pi * k / STARTS, *middles) for k in range(STARTS)]
    coarse = [_stepped(laid, first, second, tree, weight_mm, COARSE_POINTS, COARSE_STEPS) for laid in starts]
    found = _different(coarse, length_mm)
    fine = [_stepped(laid, first, second, tree, weight_mm, FINE_POINTS, FINE_STEPS) for laid in found]
    return _different(fine, length_mm)


def _start(turn_rad: float, here_mm: Array, there_mm: Array) -> Laid:
    return Laid(turn_rad, here_mm - turned(there_mm[None], turn_rad)[0], np.inf)


def turned(points: Array, turn_rad: float) -> Array:
    """Points in plan turned about the origin, (k, 2)."""
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def _stepped(
    laid: Laid, first: Outline, second: Outline, tree: cKDTree, weight_mm: float, count: int, steps: int
) -> Laid:
    """Some steps of nearest points, distances counted across the rim."""
    chosen = np.linspace(0, len(second.points_mm) - 1, min(count, len(second.points_mm))).astype(np.int64)
    points, facing = second.points_mm[chosen], second.facing[chosen]
    for _ in range(steps):
        at, way = turned(points, laid.turn_rad) + laid.shift_mm, turned(facing, laid.turn_rad)
        away, near = tree.query(np.column_stack([at, weight_mm * way]))
        good = away <= np.quantile(away, TRUSTED)
        across = first.facing[near[good]]
        off = np.einsum("ij,ij->i", first.points_mm[near[good]] - at[good], across)
        lever = at[good, 0] * across[:, 1] - at[good, 1] * across[:, 0]
        matrix = np.column_stack([lever / length_of(at), across])
        step = np.linalg.lstsq(matrix, off, rcond=None)[0]
        turn = float(np.clip(step[0] / length_of(at), -0.3, 0.3))
        laid = Laid(
            laid.turn_rad + turn,
            turned(laid.shift_mm[None], turn)[0] + step[1:],
            float(np.sqrt(np.mean((off - matrix @ step) ** 2) + _sideways(away[good]))),
        )
    return laid


def _sideways(away_mm: Array) -> float:
    """A hundredth of the mean square of all of the distance, so that sliding off the end of a rim is no gain."""
    return 0.01 * float(np.mean(away_mm**2))


def length_of(points_mm: Array) -> float:
    """Root mean square distance from the origin."""
    return float(np.sqrt(np.mean((points_mm**2).sum(axis=1))))


def _different(results: list[Laid], length_mm: float) -> list[Laid]:
    """The best few that are not the same, best first."""
    kept: list[Laid] = []
    for laid in sorted(results, key=lambda each: each.off_mm):
        if len(kept) < MOST_RESULTS and not any(_same(laid, other, length_mm) for other in kept):
            kept.append(laid)
    return kept


def _same(one: Laid, other: Laid, length_mm: float) -> bool:
    turn = (one.turn_rad - other.turn_rad + np.pi) % (2 * np.pi) - np.pi
    return abs(turn) < SAME_TURN_RAD and float(np.linalg.norm(one.shift_mm - other.shift_mm)) < SAME_SHARE * length_mm
