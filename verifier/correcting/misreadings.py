"""Calliper readings that do not fit the others: named, left out, never absorbed (data snooping after W. Baarda)."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from verifier.correcting.evidence import Evidence
from verifier.correcting.terms import Terms, fit_terms
from verifier.mesh import Array, BoolArray, IntArray
from verifier.rulebook.rules import Expectation

# Two rows whose squares of z lie closer than this are not told apart: naming the larger would blame the sound one in
# one case of eight (likelihood ratio e^2).
RIVALS_WITHIN = 4.0

# The rest agrees while its scatter is of a size that comes by chance in one sheet of twenty or oftener. Simulated: two
# wrong readings of twelve are both found in 98 % (94 % at 0.1), and a sheet of eight on which every error is twice as
# large as stated has a reading questioned in 41 % instead of 55 %.
REST_AGREES_FROM = 0.05

# An error that goes unseen in one case of twenty at most: one-sided 95 % point of the normal distribution.
POWER_QUANTILE = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Misread:
    """The readings that do not fit.

    sound : (n,) rows that stay in the fit
    groups : names; a group of one is the culprit, of a longer one it is not known which
    """

    sound: BoolArray
    groups: tuple[tuple[str, ...], ...]

    def group_of(self, name: str) -> tuple[str, ...]:
        """The group a reading stands in, empty for a sound one."""
        return next((group for group in self.groups if name in group), ())


def find_misread(evidence: Evidence, expected: Expectation, family_error: float) -> Misread:
    """Leave out the worst reading again and again until the rest agrees, a quarter of the rows at the most.

    If the rest still scatters more than stated, the stated uncertainties are at fault for most rows. Then a reading is
    only called misread when it stands out from that larger scatter as well.
    """
    misread = _leave_out_worst(evidence, expected, family_error, _as_stated)
    if fit_terms(evidence.only(misread.sound), expected).chance >= REST_AGREES_FROM:
        return misread
    return _leave_out_worst(evidence, expected, family_error, _against_the_rest)


def critical_z(rows: int, family_error: float) -> float:
    """|z| that a sound sheet of this many rows exceeds anywhere with at most the chance family_error (Bonferroni)."""
    return float(-ndtri(family_error / (2 * max(rows, 1))))


def smallest_errors_mm(evidence: Evidence, terms: Terms, family_error: float) -> Array:
    """Error of each reading that would be found in 19 cases of 20, (n,); infinite where none would.

    (critical z + 1.645) * u / sqrt(redundancy), the minimal detectable bias of Baarda's reliability theory.
    """
    roots = np.sqrt(terms.redundancies) * terms.scale
    reach = (critical_z(len(evidence), family_error) + POWER_QUANTILE) * evidence.u_mm
    return np.asarray(np.divide(reach, roots, out=np.full(len(evidence), np.inf), where=roots > 1e-4))


def _leave_out_worst(
    evidence: Evidence, expected: Expectation, family_error: float, squares_of: Callable[[Terms], Array]
) -> Misread:
    sound = np.ones(len(evidence), dtype=bool)
    groups: list[tuple[str, ...]] = []
    for _ in range(max(1, len(evidence) // 4)):
        terms = fit_terms(evidence.only(sound), expected)
        worst = _rows_to_question(terms, squares_of(terms), critical_z(int(sound.sum()), family_error))
        if len(worst) == 0:
            break
        rows = np.flatnonzero(sound)[worst]
        groups.append(tuple(evidence.names[row] for row in rows))
        sound[rows] = False
        if len(rows) > 1:
            break
    return Misread(sound, tuple(groups))


def _rows_to_question(terms: Terms, squares: Array, critical: float) -> IntArray:
    """The row that stands out most and those not told apart from it; none when the largest is within chance."""
    if len(squares) == 0 or squares.max() < critical**2:
        return np.array([], dtype=np.int64)
    of_worst = terms.z[np.argmax(squares)] ** 2
    return np.flatnonzero(terms.z**2 >= of_worst - RIVALS_WITHIN).astype(np.int64)


def _as_stated(terms: Terms) -> Array:
    return np.asarray(terms.z**2)


def _against_the_rest(terms: Terms) -> Array:
    """z squared over the scatter of all other rows, where that exceeds the stated uncertainty."""
    left = max(terms.dof - 1, 1)
    scatter = np.maximum(terms.chi2 - terms.z**2, 0.0) / left
    return np.asarray(terms.z**2 / np.maximum(scatter, 1.0))
