"""The fit behind scale and coat: measured = scale * reading + outside walls * coat + inside walls * coat inside."""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from verifier.correcting.evidence import Evidence
from verifier.correcting.least_squares import LinearFit, weighted_least_squares
from verifier.correcting.observations import readings_of, with_even_coat, with_expectation
from verifier.mesh import Array
from verifier.rulebook.rules import Expectation

# Above this correlation the two terms share one column in all but name. Outside sizes of 50, 52 and 55 give -1.00, and
# a coat uncertain by 0.15 mm where each size is known to 0.02; a long outside size and a bore give -0.65.
MOST_CORRELATION = 0.9

# Two readings fix two terms exactly and nothing is left to show that one of them is wrong.
FEWEST_READINGS = 3

# The stated uncertainties count as too small when a scatter this large comes by chance in fewer than one sheet in five.
# Simulated sheets of 8 rows: 95 % intervals then cover 97 % when the statement is right and 93 % when the true scatter
# is twice as large. At 0.1 the second figure is 90 %, and with no allowance at all 67 %.
UNDERSTATED_BELOW = 0.2


# What the coat inside may differ by follows the coat that is found so; after eight rounds nothing moves by a hundredth.
ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Terms:
    """Scale and coat with what is needed to ask about single rows.

    coat_mm : on the faces
    coat_inside_mm : on the walls of bores and slots
    covariance : (3, 3) of scale, coat and coat inside, from the stated uncertainties
    separable : found from the readings alone; else the shop's expectation took part as two more observations
    z : (n,) each row's residual over its own standard uncertainty
    redundancies : (n,) share of an error in a row that its residual shows
    """

    scale: float
    coat_mm: float
    coat_inside_mm: float
    covariance: Array
    separable: bool
    z: Array
    redundancies: Array
    chi2: float
    dof: int

    @property
    def chance(self) -> float:
        """Chance of a scatter at least this large when the stated uncertainties are right; 1 where none can show."""
        return float(chdtrc(self.dof, self.chi2)) if self.dof > 0 else 1.0

    @property
    def consistent(self) -> bool:
        """The scatter is no larger than the stated uncertainties let expect."""
        return self.chance >= UNDERSTATED_BELOW

    @property
    def understatement(self) -> float:
        """Factor by which the stated uncertainties are to be enlarged; 1 when they agree with the scatter."""
        return 1.0 if self.consistent else float(np.sqrt(self.chi2 / self.dof))

    @property
    def t_dof(self) -> float:
        """Degrees of freedom of the uncertainties after enlarging: infinite while they stand as stated."""
        return np.inf if self.consistent else float(self.dof)


def correlation(evidence: Evidence) -> float:
    """Correlation of scale and an even coat in the fit of these rows alone, -1 to 1; -1 where no row has one of them.

    For a fit of two columns it is minus the cosine of the angle between them.
    """
    lengths, walls = evidence.reading_mm / evidence.u_mm, evidence.walls / evidence.u_mm
    product = float(np.linalg.norm(lengths) * np.linalg.norm(walls))
    return -float(lengths @ walls) / product if product > 0.0 else -1.0


def can_separate(evidence: Evidence) -> bool:
    """Whether these rows tell scale from coat without help."""
    return len(evidence) >= FEWEST_READINGS and abs(correlation(evidence)) <= MOST_CORRELATION


def fit_terms(evidence: Evidence, expected: Expectation) -> Terms:
    """Find the scale and coat that explain the rows best; with the shop's expectation where they do not suffice alone.

    That the coat inside is the coat on the faces enters as one observation, whose uncertainty is a share of that coat.
    Held to be one, they left bores up to 0.06 mm wide of the truth with 0.014 mm stated where powder thins out in them.
    The expectation (scale 1, coat as powder usually lies) enters as two more. So the corrected sizes keep an honest,
    large uncertainty even where nothing was read.
    """
    separable = can_separate(evidence)
    given = readings_of(evidence) if separable else with_expectation(readings_of(evidence), expected)
    coat_mm = expected.coat_mm
    for _ in range(ROUNDS):
        observed = with_even_coat(given, coat_mm)
        fit = weighted_least_squares(observed.design, observed.values, observed.u)
        coat_mm = float(fit.coefficients[1])
    return _as_terms(fit, observed.u, len(evidence), separable)


def _as_terms(fit: LinearFit, u_mm: Array, rows: int, separable: bool) -> Terms:
    spread = u_mm * np.sqrt(fit.redundancies)
    z = np.divide(fit.residuals, spread, out=np.zeros_like(spread), where=fit.redundancies > _NO_REDUNDANCY)
    scale, coat_mm, inside_mm = (float(value) for value in fit.coefficients)
    return Terms(
        scale, coat_mm, inside_mm, fit.covariance, separable, z[:rows], fit.redundancies[:rows], fit.chi2, fit.dof
    )


# A row that alone fixes a term has a residual of rounding only, and its z would be one rounding over another.
_NO_REDUNDANCY = 1e-9
