"""What a fit of scale and coat goes by: the readings, that powder mostly lies evenly, and what the shop expects."""

from dataclasses import dataclass

import numpy as np

from verifier.correcting.evidence import Evidence
from verifier.mesh import Array
from verifier.rulebook.rules import Expectation

# Powder that is sprayed from outside lies as thick in bores and slots as on the faces, or thinner, down to none: none
# is two standard uncertainties away. Common practice, no source.
U_INSIDE_SHARE = 0.5
# So that a part without powder still gives an observation with an uncertainty.
LEAST_U_INSIDE_MM = 1e-4


@dataclass(frozen=True, slots=True)
class Observations:
    """What is seen of scale, coat and coat inside, one line each: values = design @ (scale, coat, coat inside).

    design : (n, 3)
    values, u : (n,), with their standard uncertainties
    """

    design: Array
    values: Array
    u: Array

    def plus(self, design: Array, values: Array, u: Array) -> "Observations":
        """The same with more lines."""
        return Observations(np.vstack([self.design, design]), np.append(self.values, values), np.append(self.u, u))


def readings_of(evidence: Evidence) -> Observations:
    """The rows that were both scanned and read."""
    design = np.column_stack([evidence.reading_mm, evidence.outside_walls, evidence.inside_walls])
    return Observations(design, evidence.measured_mm, evidence.u_mm)


def with_even_coat(seen: Observations, coat_mm: float) -> Observations:
    """One more: the coat inside is the coat on the faces, which is about coat_mm, but for a share of it."""
    u_mm = max(U_INSIDE_SHARE * abs(coat_mm), LEAST_U_INSIDE_MM)
    return seen.plus(np.array([[0.0, -1.0, 1.0]]), np.array([0.0]), np.array([u_mm]))


def with_expectation(seen: Observations, expected: Expectation) -> Observations:
    """Two more: the scale is 1 and the coat as powder usually lies, within what the shop knows of both."""
    u = np.array([expected.u_scale, expected.u_coat_mm])
    return seen.plus(np.eye(2, 3), np.array([1.0, expected.coat_mm]), u)
