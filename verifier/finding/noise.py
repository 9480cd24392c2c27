"""How much a scan scatters about its own flat faces, and how far neighbours share that scatter."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from verifier.finding.doubt import evenly
from verifier.finding.feature import Noise
from verifier.finding.surface import Surface, neighbour_scatter_mm
from verifier.mesh import Array, IntArray

MOST_POINTS = 50_000  # of a large plane the middle is looked at: thinning would widen the spacing
FEW_OF_A_PATCH = 250  # of each flat, to work out how much of long waves a plane takes with it
BASES = 8000  # points whose partners are looked up, on each plane
LAGS_MM = np.array([0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.5, 8.0, 11.0, 15.0, 20.0, 27.0, 36.0])
# Over longer ways than this share of a flat the fitted plane has taken most of the waves with it.
LONGEST_LAG_SHARE = 0.35
# Pairs a long way apart are many and alike: from here on they count by the areas they span.
LIKE_PAIRS_MM = 5.0
ROUNDING_MM = 1e-7  # drawn faces of double precision scatter less; there is nothing to tell apart
WAVES_ABOVE = 4.0
# A scanner lays its pictures on one another to about a hundredth of a millimetre, and a face is the mean of several
# (judgement, no source): whole faces lie so far off, and no face shows it.
LAID_MM = 0.002
DRAWN_MM = 0.0005
AREA_OF_A_POINT = 0.87  # over the squared spacing, on a net of equal triangles
# No scatter is believed to be shared over less than this, or than one spacing: it could not be told from white noise.
LEAST_CORRELATION_MM, MOST_CORRELATION_MM = 0.3, 5.0
LEAST_WAVE_MM, MOST_WAVE_MM = 8.0, 30.0


def noise_on_planes(patches: Sequence[tuple[Array, Array]], spacing_mm: float) -> Noise | None:
    """White and shared scatter from half mean squared differences at growing distances (the variogram).

    None where no plane has points enough to compare.

    patches : for each plane points (n, 3) and their signed distances from it, (n,)
    The model is white^2 + correlated^2 (1 - exp(-r^2 / 2 l^2)) + wave^2 (1 - exp(-r^2 / 2 L^2)); a plane takes part of
    the longest waves with it, which is given back.
    """
    lags = [_differences(points, away, spacing_mm) for points, away in patches]
    lag_mm, half_square, count = (np.concatenate(column) for column in zip(*lags, strict=True))
    if len(count) == 0:
        return None
    area_mm2 = AREA_OF_A_POINT * spacing_mm**2 * sum(len(points) for points, _ in patches)
    white, shared, length, wave, wavelength = _fitted(lag_mm, half_square, count, spacing_mm, area_mm2)
    if wave > 0.0:
        wave /= np.average(
            [_share_left(points, wavelength) for points, _ in patches], weights=[len(p) for p, _ in patches]
        )
    found = Noise(float(np.sqrt(white)), float(np.sqrt(shared)), float(length), float(np.sqrt(wave)), float(wavelength))
    return _as_laid(replace(found, seen_on_mm2=float(area_mm2)))


def _share_left(points_mm: Array, wavelength_mm: float) -> float:
    """Share of the variance of long waves that a plane fitted to these points leaves, no less than a quarter."""
    at = points_mm[evenly(len(points_mm), FEW_OF_A_PATCH)]
    at = at - at.mean(axis=0)
    slope = np.column_stack([np.ones(len(at)), at @ np.linalg.svd(at, full_matrices=False)[2][:2].T])
    basis = np.linalg.qr(slope)[0]
    square = np.maximum(((at[:, None] - at[None]) ** 2).sum(axis=2), 0.0)
    shared = np.exp(-square / (2.0 * wavelength_mm**2))
    return max(0.25, 1.0 - float(np.trace(basis.T @ shared @ basis)) / len(at))


def noise_of_neighbours(surface: Surface) -> Noise:
    """White scatter from each point's step off its neighbours' mean, for a part without one flat face.

    Shared scatter cannot be seen without a flat; it is taken as large as the white, over 1 mm.
    """
    white = neighbour_scatter_mm(surface.points_mm, surface.normals, surface.seen, surface.neighbours)
    return _as_laid(Noise(white, white, 1.0))


def _as_laid(noise: Noise) -> Noise:
    """With what no face shows of a scan that scatters at all; a drawn part was not laid together of pictures."""
    return replace(noise, laid_mm=LAID_MM) if noise.spread_mm > DRAWN_MM else noise


def _differences(points_mm: Array, away_mm: Array, spacing_mm: float) -> tuple[Array, Array, Array]:
    """Distance, half mean squared difference and number of pairs for each lag."""
    if len(points_mm) > MOST_POINTS:
        from_middle = np.linalg.norm(points_mm - points_mm.mean(axis=0), axis=1)
        near = np.argpartition(from_middle, MOST_POINTS)[:MOST_POINTS]
        points_mm, away_mm = points_mm[near], away_mm[near]
    base = evenly(len(points_mm), BASES)
    across = np.linalg.svd(points_mm[base] - points_mm[base].mean(axis=0), full_matrices=False)[2][:2]
    # Partners are looked up flat: looked up in space, those at a like height would be favoured.
    flat = points_mm @ across.T
    tree = cKDTree(flat, balanced_tree=False, compact_nodes=False)
    # A golden-angle fan looks in all directions alike.
    angle = np.arange(len(base)) * 2.399963
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    rows = []
    longest = max(LONGEST_LAG_SHARE * float(np.ptp(flat, axis=0).max()), LAGS_MM[7])
    lags = np.maximum(LAGS_MM[: np.searchsorted(LAGS_MM, longest, side="right")], 1.01 * spacing_mm)
    for lag, times in zip(*np.unique(lags, return_counts=True), strict=True):
        reached, partner = tree.query(flat[base] + lag * direction, distance_upper_bound=spacing_mm, workers=-1)
        pair = np.flatnonzero(np.isfinite(reached))
        pair = pair[partner[pair] != base[pair]]
        if len(pair) >= 50:
            # The lags below a spacing all look at the same pairs: these are worked out once, and count as often.
            rows += [_one_lag(points_mm, away_mm, base[pair], partner[pair])] * int(times)
    table = np.array(rows).reshape(-1, 3)
    return table[:, 0], table[:, 1], table[:, 2]


def _one_lag(points_mm: Array, away_mm: Array, first: IntArray, second: IntArray) -> tuple[float, float, float]:
    apart = np.take(points_mm, first, axis=0) - np.take(points_mm, second, axis=0)
    distance = np.linalg.norm(apart, axis=1)
    half_square = 0.5 * (np.take(away_mm, first) - np.take(away_mm, second)) ** 2
    return float(distance.mean()), float(half_square.mean()), float(len(first))


def _fitted(lag_mm: Array, half_square: Array, count: Array, spacing_mm: float, area_mm2: float) -> Array:
    """White variance, shared variance and length, wave variance and length that best explain the half squares, (5,).

    Waves are believed only where they rise over what shared scatter may show by chance: four times its variance
    times the root of 2 over the number of its independent patches.
    """
    if half_square.max() < ROUNDING_MM**2:
        return np.array([half_square.max(), 0.0, LEAST_CORRELATION_MM, 0.0, LEAST_WAVE_MM])
    waved = _least_squares(lag_mm, half_square, count, spacing_mm, waves=True)
    patches = max(1.0, area_mm2 / (2.0 * np.pi * waved[2] ** 2))
    if waved[3] > WAVES_ABOVE * waved[1] * np.sqrt(2.0 / patches):
        return waved
    return _least_squares(lag_mm, half_square, count, spacing_mm, waves=False)


def _least_squares(lag_mm: Array, half_square: Array, count: Array, spacing_mm: float, *, waves: bool) -> Array:
    total = float(np.average(half_square, weights=count))
    weight = np.sqrt(count) * np.minimum(1.0, LIKE_PAIRS_MM / lag_mm)

    def off(at: Array) -> Array:
        white, shared, length, wave, wavelength = at
        near, far = (1.0 - np.exp(-(lag_mm**2) / (2.0 * over**2)) for over in (length, wavelength))
        return np.asarray((white + shared * near + wave * far - half_square) / total * weight)

    def slopes(at: Array) -> Array:
        _, shared, length, wave, wavelength = at
        columns = [np.ones_like(lag_mm)]
        for variance, over in ((shared, length), (wave, wavelength)):
            fallen = np.exp(-(lag_mm**2) / (2.0 * over**2))
            columns += [1.0 - fallen, -variance * fallen * lag_mm**2 / over**3]
        return np.asarray(np.column_stack(columns) * (weight / total)[:, None])

    # Waves are believed no longer than the longest way looked at: what rises beyond it has no end.
    longest = float(np.clip(lag_mm.max(), LEAST_WAVE_MM + 0.1, MOST_WAVE_MM))
    shortest = min(max(LEAST_CORRELATION_MM, spacing_mm), 0.5 * MOST_CORRELATION_MM)
    low = [0.0, 0.0, shortest, 0.0, LEAST_WAVE_MM]
    high = [4.0 * total, 4.0 * total, MOST_CORRELATION_MM, (4.0 if waves else 1e-9) * total, longest]
    middle = 0.5 * (LEAST_WAVE_MM + longest)
    starts = ([0.5 * total, 0.5 * total, k * shortest, 0.5e-9 * total, middle] for k in (1.2, 1.6, 2.0))
    scale = [total, total, 1.0, total, LEAST_WAVE_MM]
    best = min((least_squares(off, s, slopes, bounds=(low, high), x_scale=scale) for s in starts), key=_cost)
    return np.asarray(best.x)


def _cost(result: object) -> float:
    return float(result.cost)  # type: ignore[attr-defined]
