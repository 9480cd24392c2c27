"""Scale and coat in plain words: what was found, whether the mesh is altered by it, and why or why not."""

import numpy as np

from verifier.correcting.correction import Term
from verifier.correcting.terms import Terms
from verifier.mesh import Array

# A term within two standard uncertainties of nothing is not told from nothing (95 %).
SIGNIFICANT = 2.0

_LEFT_AS_IT_IS = "scale and coat could not be told apart, so the mesh is left as it is"


def scale_term(terms: Terms, u: float, readings: int) -> Term:
    """The scale with the sentence that goes with it; u is its standard uncertainty after enlarging."""
    error = terms.scale - 1.0
    applied = terms.separable and abs(error) > SIGNIFICANT * u
    return Term(terms.scale, u, applied, _scale_reason(error, u, applied, terms.separable, readings))


def coat_term(terms: Terms, u_mm: float, readings: int) -> Term:
    """The coat with the sentence that goes with it; u_mm is its standard uncertainty as powder, after enlarging.

    The mesh is freed of what its faces lie off by, whatever moved them: left there because long waves may have done it,
    sizes of such scans were up to 0.014 mm worse (root mean square), and those without powder no better.
    """
    u_moved_mm = terms.understatement * float(np.sqrt(terms.covariance[1, 1]))
    applied = terms.separable and abs(terms.coat_mm) > SIGNIFICANT * min(u_mm, u_moved_mm)
    return Term(terms.coat_mm, u_mm, applied, _coat_reason(terms.coat_mm, u_mm, applied, terms.separable, readings))


def inside_term(terms: Terms, covariance: Array, *, applied: bool) -> Term:
    """The coat inside bores and slots, with a sentence where it is told from the coat on the faces.

    covariance : (3, 3) of the terms, after enlarging
    """
    apart = np.array([0.0, -1.0, 1.0])
    u_apart_mm, u_mm = float(np.sqrt(apart @ covariance @ apart)), float(np.sqrt(covariance[2, 2]))
    inside_mm = terms.coat_inside_mm
    told = applied and abs(inside_mm - terms.coat_mm) > SIGNIFICANT * u_apart_mm
    figure = f"{inside_mm:.3f} mm (± {SIGNIFICANT * u_mm:.3f} mm)"
    reason = f"In bores and slots it is {figure} thick; their walls are corrected for that." if told else ""
    return Term(inside_mm, u_mm, applied, reason)


def _scale_reason(error: float, u: float, applied: bool, separable: bool, readings: int) -> str:
    if readings == 0:
        return f"No reading to compare with: the scale is taken as true within {100 * SIGNIFICANT * u:.2f} %."
    figure = f"{abs(100 * error):.2f} % (± {100 * SIGNIFICANT * u:.2f} %)"
    if applied:
        return f"The scan is {figure} {'large' if error > 0 else 'small'}; the mesh is corrected for it."
    if separable:
        return f"The scan shows no scale error: {100 * error:+.2f} % is within ± {100 * SIGNIFICANT * u:.2f} %."
    return f"The scan may be {figure} {'large' if error > 0 else 'small'}; {_LEFT_AS_IT_IS}."


def _coat_reason(coat_mm: float, u_mm: float, applied: bool, separable: bool, readings: int) -> str:
    if readings == 0:
        return f"No reading to compare with: a coat of {coat_mm:.2f} mm (± {SIGNIFICANT * u_mm:.2f} mm) is assumed."
    figure = f"{abs(coat_mm):.3f} mm (± {SIGNIFICANT * u_mm:.3f} mm)"
    if applied and abs(coat_mm) <= SIGNIFICANT * u_mm:
        side, cause = ("over", "it is powder") if coat_mm > 0 else ("under", "light enters the plastic")
        return (
            f"The scan lies {abs(coat_mm):.3f} mm {side} each face; the mesh is corrected for it. That {cause} is not "
            f"sure (± {SIGNIFICANT * u_mm:.3f} mm): long waves of the scan or few readings can look like it."
        )
    if applied and coat_mm > 0:
        return f"The powder is {figure} thick on each face; the mesh is corrected for it."
    if applied:
        return f"The scan lies {figure} under each face; the mesh is corrected for it."
    if separable:
        return f"The scan shows no coat: {coat_mm:+.3f} mm on each face is within ± {SIGNIFICANT * u_mm:.3f} mm."
    return f"The powder may be {figure} thick on each face; {_LEFT_AS_IT_IS}."
