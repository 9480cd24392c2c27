"""How much a scan scatters about its own flat faces, and how far neighbours share that scatter."""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from verifier.finding.doubt import evenly
from verifier.finding.feature import Noise
from verifier.finding.surface import Surface, neighbour_scatter_mm
from verifier.mesh import Array, IntArray

MOST_POINTS = 50_000  # of a large plane the middle is looked at: thinning would widen the spacing
BASES = 8000  # points whose partners are looked up, on each plane
LAGS_MM = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.5, 8.0])
# No scatter is believed to be shared over less than this: it could not be told from white noise at 0.5 mm spacing.
LEAST_CORRELATION_MM, MOST_CORRELATION_MM = 0.3, 4.0


def noise_on_planes(patches: Sequence[tuple[Array, Array]], spacing_mm: float) -> Noise:
    """White and shared scatter from half mean squared differences at growing distances (the variogram).

    patches : for each plane points (n, 3) and their signed distances from it, (n,)
    The model is white^2 + correlated^2 (1 - exp(-r^2 / 2 l^2)); a plane takes part of the long waves with it, which
    the differences between points do not notice.
    """
    lags = [_differences(points, away, spacing_mm) for points, away in patches]
    lag_mm, half_square, count = (np.concatenate(column) for column in zip(*lags, strict=True))
    total = float(np.average(half_square, weights=count))
    white, shared, length = _fitted(lag_mm, half_square, count, total)
    return Noise(float(np.sqrt(white)), float(np.sqrt(shared)), length)


def noise_of_neighbours(surface: Surface) -> Noise:
    """White scatter from each point's step off its neighbours' mean, for a part without one flat face.

    Shared scatter cannot be seen without a flat; it is taken as large as the white, over 1 mm.
    """
    white = neighbour_scatter_mm(surface.points_mm, surface.normals, surface.seen, surface.neighbours)
    return Noise(white, white, 1.0)


def _differences(points_mm: Array, away_mm: Array, spacing_mm: float) -> tuple[Array, Array, Array]:
    """Distance, half mean squared difference and number of pairs for each lag."""
    from_middle = np.linalg.norm(points_mm - points_mm.mean(axis=0), axis=1)
    if len(points_mm) > MOST_POINTS:
        near = np.argpartition(from_middle, MOST_POINTS)[:MOST_POINTS]
        points_mm, away_mm = points_mm[near], away_mm[near]
    base = evenly(len(points_mm), BASES)
    across = np.linalg.svd(points_mm[base] - points_mm[base].mean(axis=0), full_matrices=False)[2][:2]
    # Partners are looked up flat: looked up in space, those at a like height would be favoured.
    flat = points_mm @ across.T
    tree = cKDTree(flat)
    # A golden-angle fan looks in all directions alike.
    angle = np.arange(len(base)) * 2.399963
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    rows = []
    for lag in np.maximum(LAGS_MM, 1.01 * spacing_mm):
        reached, partner = tree.query(flat[base] + lag * direction, distance_upper_bound=spacing_mm)
        pair = np.flatnonzero(np.isfinite(reached))
        pair = pair[partner[pair] != base[pair]]
        if len(pair) >= 50:
            rows.append(_one_lag(points_mm, away_mm, base[pair], partner[pair]))
    table = np.array(rows).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def _one_lag(points_mm: Array, away_mm: Array, first: IntArray, second: IntArray) -> tuple[float, float, float]:
    distance = np.linalg.norm(points_mm[first] - points_mm[second], axis=1)
    half_square = 0.5 * (away_mm[first] - away_mm[second]) ** 2
    return float(distance.mean()), float(half_square.mean()), float(len(first))


def _fitted(lag_mm: Array, half_square: Array, count: Array, total: float) -> tuple[float, float, float]:
    """White variance, shared variance and length that best explain the half squares."""

    def off(at: Array) -> Array:
        white, shared, length = at
        model = white + shared * (1.0 - np.exp(-(lag_mm**2) / (2.0 * length**2)))
        return np.asarray((model - half_square) / total * np.sqrt(count))

    low, high = [0.0, 0.0, LEAST_CORRELATION_MM], [4.0 * total, 4.0 * total, MOST_CORRELATION_MM]
    starts = ([0.5 * total, 0.5 * total, length] for length in (0.5, 1.0, 2.0))
    best = min((least_squares(off, s, bounds=(low, high), x_scale=[total, total, 1.0]) for s in starts), key=_cost)
    return float(best.x[0]), float(best.x[1]), float(best.x[2])


def _cost(result: object) -> float:
    return float(result.cost)  # type: ignore[attr-defined]
