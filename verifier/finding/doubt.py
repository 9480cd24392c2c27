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
    Independent scatter: white^2 (J'J)^-1 over all points. Shared scatter, with the covariance
    correlated^2 exp(-r^2 / 2 l^2): G R G' with G = (J'J)^-1 J' over points spread evenly (JCGM 102:2011, 6.2.1.3,
    propagation through a linear model).
    """
    few = evenly(len(points_mm), MOST_POINTS)
    spread, at = slope[few], points_mm[few]
    gain = np.linalg.pinv(spread)
    apart = (at**2).sum(axis=1)[:, None] + (at**2).sum(axis=1)[None] - 2.0 * at @ at.T
    shared = noise.correlated_mm**2 * np.exp(-np.maximum(apart, 0.0) / (2.0 * max(noise.correlation_mm, 1e-6) ** 2))
    return np.asarray(gain @ shared @ gain.T + noise.white_mm**2 * np.linalg.pinv(slope.T @ slope))


def evenly(count: int, most: int) -> IntArray:
    """At most so many places out of a count, drawn without order but always the same ones."""
    if count <= most:
        return np.arange(count)
    return np.sort(np.random.default_rng(count).choice(count, most, replace=False))
