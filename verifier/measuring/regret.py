"""How much worse than a perfect match a row's match is, in units of chi-square (-2 log likelihood); 0 is perfect.

Three stories for a row: it was read well and seen well; it was misread; its feature was not found. A story within RIVAL
of the best is a rival and is told.
"""

import numpy as np

from verifier.mesh import Array

# Two stories whose chi-squares differ by less than this are not told apart: 99 % of chi-square with 2 degrees of
# freedom, those of scale and coat.
RIVAL = 9.21
# Where a bore is missing, one that is not missing may take its place in a symmetric sheet, and a misread distance that
# speaks against it may be hidden by that. So much more is then asked: a value misread by 0.5 mm costs 15 to 16, and the
# others scatter.
RIVAL_WHEN_MISSING = RIVAL + 20.0
# Moulded faces are not flat, bores not round, and jaws sit where they sit: part of every difference between calliper
# and scan (robust against noise twice as large as stated).
MOULDING_U_MM = 0.03
MOULDING_U_DEG = 0.1
# A misread calliper value: one row in fifty. Errors fall off as exp(-|e| / 0.25 mm), so that the misreadings of 0.2 to
# 0.5 mm that happen at a bench are believed, and 2 mm is not.
MISREAD_CHANCE = 0.02
MISREAD_MM = 0.25
MISREAD_DEG = 1.0
# A feature that the constellation asks for was not found although an equal one elsewhere was: chance 1 in 3000.
NOT_FOUND = 16.0
# What one agreeing size and one agreeing distance are worth against chance: at 0.045 mm, bores are 1 mm apart in
# diameter and centres 5 mm in distance in the parts the shop sees: 2 ln(spacing / (2.5 * 0.045)). Judgement, no source.
SIZE_WORTH = 4.4
DISTANCE_WORTH = 7.6
# For a row found by its size alone: a lone place within half a millimetre is the row's, misread; beyond, it is not.
NOT_FOUND_BY_SIZE = 26.0


def seen_well(error: Array, total_variance: Array) -> Array:
    """Regret of an honest reading that differs by error, (n,)."""
    return np.asarray(error**2 / total_variance, dtype=np.float64)


def misread(error: Array, variance: Array, reach: float) -> Array:
    """Regret of a reading that is wrong by error, (n,); reach is MISREAD_MM or MISREAD_DEG.

    From the ratio of the densities: chance * exp(-|e| / reach) / (2 reach) against the height 1 / sqrt(2 pi variance).
    """
    share = MISREAD_CHANCE * np.sqrt(2.0 * np.pi * variance) / (2.0 * reach)
    return np.asarray(np.maximum(-2.0 * np.log(share), 0.0) + 2.0 * np.abs(error) / reach, dtype=np.float64)
