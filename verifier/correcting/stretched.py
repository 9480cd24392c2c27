"""A scan that is larger along one direction of the part than across it: one scale does not explain its sizes."""

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtrc, chdtri

from verifier.correcting.evidence import Evidence
from verifier.correcting.least_squares import weighted_least_squares
from verifier.correcting.observations import readings_of, with_even_coat
from verifier.correcting.terms import fit_terms
from verifier.measuring.size import Size
from verifier.mesh import Array
from verifier.rulebook.rules import Expectation

# Told only when it would come by chance in one sheet of a hundred, whichever direction was tried.
BY_CHANCE = 0.01
# Scale, coat and stretch are three unknowns; two readings more have to speak for them.
FEWEST_READINGS = 5


def stretched(sizes: Sequence[Size], evidence: Evidence, expected: Expectation) -> tuple[str, ...]:
    """A sentence where a scale of its own along one size's direction explains the readings, and one scale does not.

    measured = scale * (1 + stretch * cos^2) * reading + walls * coat, with the cosine between a size and the direction,
    and the coat inside as free as in the fit of one scale.
    """
    if len(evidence) < FEWEST_READINGS:
        return ()
    terms = fit_terms(evidence, expected)
    if terms.chance >= BY_CHANCE:
        return ()
    ways = _ways(sizes, evidence)
    tried = [
        (name, _fit(evidence, terms.coat_mm, ways, way))
        for name, way in zip(evidence.names, ways, strict=True)
        if way.any()
    ]
    found = [(chi2, name, stretch) for name, (chi2, stretch) in tried if np.isfinite(chi2)]
    if not found:
        return ()
    chi2, name, stretch = min(found)
    by_chance = BY_CHANCE / len(found)
    explained = chdtrc(len(evidence) - 3, chi2) >= BY_CHANCE
    if not explained or terms.chi2 - chi2 < chdtri(1, by_chance):
        return ()
    longer = "longer" if stretch > 0 else "shorter"
    return (
        f"The scan is {abs(100 * stretch):.2f} % {longer} along '{name}' than across it, and one "
        "scale cannot correct that: have the scanner calibrated, or scan the part lying another way.",
    )


def _ways(sizes: Sequence[Size], evidence: Evidence) -> Array:
    """Unit direction of each row's size, (n, 3); nought for diameters, which lie all round."""
    by_name = {size.name: size for size in sizes}
    return np.array([_way(by_name[name]) for name in evidence.names])


def _way(size: Size) -> Array:
    if len(size.features) == 1 and size.features[0].startswith(("bore", "boss")):
        return np.zeros(3)
    between = size.points_mm[-1] - size.points_mm[0] if len(size.points_mm) > 1 else np.zeros(3)
    return np.asarray(between / max(float(np.linalg.norm(between)), 1e-12))


def _fit(evidence: Evidence, coat_mm: float, ways: Array, way: Array) -> tuple[float, float]:
    """Chi-square and stretch of the fit with a scale of its own along a way; infinite where it cannot be told."""
    seen = with_even_coat(readings_of(evidence), coat_mm)
    along_mm = np.append(evidence.reading_mm * (ways @ way) ** 2, 0.0)
    try:
        fit = weighted_least_squares(np.column_stack([seen.design, along_mm]), seen.values, seen.u)
    except np.linalg.LinAlgError:
        return np.inf, 0.0
    return fit.chi2, float(fit.coefficients[-1] / fit.coefficients[0])
