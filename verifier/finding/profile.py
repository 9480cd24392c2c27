"""What a pin feels of a round wall: its profile smoothed to two and three lobes and a taper."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linprog

from verifier.finding.doubt import fit_covariance
from verifier.finding.feature import Noise
from verifier.mesh import Array

LOBES = (2, 3)
# 95 % points of chi-square over its degrees of freedom (a taper has one, a lobe two).
SURE_ABOVE = {1: 3.841, 2: 2.996}
ANGLES = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)


@dataclass(frozen=True, slots=True)
class Profile:
    """Departure of a round wall from its cylinder, scatter taken out.

    entry_mm : largest inscribed (bore) or smallest circumscribed (boss) radius, less the mean one
    roundness_mm : peak to valley of the radius over the turn
    """

    entry_mm: float
    roundness_mm: float


def profile_of(
    angle_rad: Array, along_mm: Array, away_mm: Array, points_mm: Array, noise: Noise, *, bore: bool
) -> Profile:
    """The wall's lobes and taper, each shortened by what the scatter alone would give it.

    angle_rad, along_mm, away_mm : (n,) place on the wall and distance outward of the fitted cylinder
    points_mm : (n, 3) the same places in space
    """
    waves = [f(k * angle_rad) for k in LOBES for f in (np.cos, np.sin)]
    first = [np.cos(angle_rad), np.sin(angle_rad)]
    slope = np.column_stack([np.ones_like(angle_rad), *first, *waves, along_mm])
    found = np.linalg.lstsq(slope, away_mm, rcond=None)[0]
    variance = np.diag(fit_covariance(slope, points_mm, noise))
    lobes = np.concatenate([_calmed(found[i : i + 2], variance[i : i + 2]) for i in range(3, 3 + 2 * len(LOBES), 2)])
    taper = float(_calmed(found[-1:], variance[-1:])[0])
    radius = np.column_stack([f(k * ANGLES) for k in LOBES for f in (np.cos, np.sin)]) @ lobes
    narrowing = 0.5 * abs(taper) * float(np.ptp(along_mm))
    entry = _inscribed(radius) - narrowing if bore else narrowing - _inscribed(-radius)
    return Profile(float(entry), float(np.ptp(radius)))


def _calmed(amplitude: Array, variance: Array) -> Array:
    """The amplitude less the scatter in it (a^2 - var); nothing where scatter alone reaches it once in twenty times."""
    square, scatter = float((amplitude**2).sum()), float(variance.sum())
    if square <= SURE_ABOVE[len(amplitude)] * scatter:
        return np.zeros_like(amplitude)
    return np.asarray(amplitude * np.sqrt(1.0 - scatter / square))


def _inscribed(radius_mm: Array) -> float:
    """Largest circle inside a profile given as departures from a radius; its centre may move (linear programme)."""
    circle = np.column_stack([np.cos(ANGLES), np.sin(ANGLES), np.ones_like(ANGLES)])
    best = linprog([0.0, 0.0, -1.0], A_ub=circle, b_ub=radius_mm, bounds=[(None, None)] * 3)
    return float(best.x[2])
