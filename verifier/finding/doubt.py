"""Standard uncertainties of a fit from scatter that neighbours share."""

import numpy as np

from verifier.finding.feature import Noise
from verifier.mesh import Array, IntArray

# The shared scatter is summed over at most this many points, spread evenly: a 600 x 600 table costs 10 ms, and on a
# 6 mm bore 8 mm deep they lie 0.5 mm apart, half the usual correlation length.
MOST_POINTS = 600


def fit_covariance(slope: Array, points_mm: Array, noise: Noise) -> Array:
    """Covariance of the parameters of a least-squares fit, (p, p).

    slope : (n, p) change of each residual with each parameter
    points_mm : (n, 3) where each residual was taken
    Independent scatter: white^2 (J'J)^-1 over all points. Shared scatter, with the covariance R that the noise has
    between two places: G R G' with G = (J'J)^-1 J' over points spread evenly (JCGM 102:2011, 6.2.1.3, propagation
    through a linear model).
    """
    few = evenly(len(points_mm), MOST_POINTS)
    gain = np.linalg.pinv(slope[few])
    shared = _shared(points_mm[few], len(points_mm), noise)
    return np.asarray(gain @ shared @ gain.T + noise.white_mm**2 * np.linalg.pinv(slope.T @ slope))


def scatter_ratio(slope: Array, residuals_mm: Array, points_mm: Array, noise: Noise) -> float:
    """Variance that is left over the fit, against what the noise of the flats would leave; 1 where they agree.

    slope : (n, p) all that the fit, and the form that is no scatter, can follow
    Expected of n residuals: tr((1 - H) R) + (n - p) white^2, H the projection on the slope's columns. A wall that the
    scanner saw at a slant, or stitched from two views, scatters more than the flats do.
    """
    few = evenly(len(points_mm), MOST_POINTS)
    spread = slope[few]
    gain = np.linalg.pinv(spread)
    left = residuals_mm[few] - spread @ (gain @ residuals_mm[few])
    shared = noise.shared_mm2(_square_distances(points_mm[few]))
    expected = np.trace(shared) - np.sum((gain @ shared) * spread.T) + (len(few) - slope.shape[1]) * noise.white_mm**2
    return float(left @ left / max(float(expected), 1e-18)) if len(few) > slope.shape[1] else 1.0


def _shared(few_mm: Array, count: int, noise: Noise) -> Array:
    """Covariance of shared scatter of a few points drawn at random to stand for so many, (k, k).

    Points of density d lie 1 / (2 sqrt(d)) from their nearest: that tells the cell that each stands for.
    """
    square = _square_distances(few_mm)
    if len(few_mm) == count:
        return noise.shared_mm2(square)
    nearest = np.sqrt((square + np.diag(np.full(len(square), np.inf))).min(axis=1))
    return noise.shared_by_cells_mm2(square, 4.0 * float(nearest.mean()) ** 2 * (1.0 - len(few_mm) / count))


def _square_distances(points_mm: Array) -> Array:
    away = points_mm - points_mm.mean(axis=0)
    square = (away**2).sum(axis=1)
    between = square[:, None] + square[None]
    between -= 2.0 * away @ away.T
    np.maximum(between, 0.0, out=between)
    np.fill_diagonal(between, 0.0)
    return np.asarray(between)


def evenly(count: int, most: int) -> IntArray:
    """At most so many places out of a count, drawn without order but always the same ones."""
    if count <= most:
        return np.arange(count)
    return np.sort(np.random.default_rng(count).choice(count, most, replace=False))
