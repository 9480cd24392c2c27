"""Weighted linear least squares with everything that is asked of a fit afterwards."""

from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from verifier.mesh import Array


@dataclass(frozen=True, slots=True)
class LinearFit:
    """The coefficients that explain n observations best, and how well.

    coefficients : (p,)
    covariance : (p, p), from the stated uncertainties as they are, never scaled by the residuals
    residuals : (n,) observed less fitted, in the observations' unit
    leverages : (n,) how much of each observation the fit takes from itself, 0 to 1
    chi2 : sum of squared residuals, each over its stated uncertainty
    dof : n - p
    """

    coefficients: Array
    covariance: Array
    residuals: Array
    leverages: Array
    chi2: float
    dof: int

    @property
    def redundancies(self) -> Array:
        """Share of an error in each observation that shows in its own residual, (n,), 0 to 1."""
        return np.asarray(np.clip(1.0 - self.leverages, 0.0, 1.0))


def weighted_least_squares(design: Array, observed: Array, u: Array | float = 1.0) -> LinearFit:
    """Fit observed = design @ coefficients, observation i weighing 1 / u_i squared.

    design : (n, p), observed : (n,), u : (n,) or one for all, standard uncertainties

    By Householder QR of the column-scaled design. The normal equations would square its condition, which is 5e9 on the
    Longley data and leaves a double without one digit.
    Raises numpy.linalg.LinAlgError when the columns are not independent.
    """
    weights = np.broadcast_to(1.0 / np.asarray(u, dtype=np.float64), observed.shape)
    rows = design * weights[:, None]
    lengths = np.linalg.norm(rows, axis=0)
    if np.any(lengths == 0.0):
        raise np.linalg.LinAlgError("a column of the design is zero")
    q, r = np.linalg.qr(rows / lengths)
    _refuse_dependent_columns(r)
    coefficients = solve_triangular(r, q.T @ (observed * weights)) / lengths
    root = solve_triangular(r, np.eye(len(lengths))) / lengths[:, None]
    residuals = observed - design @ coefficients
    return LinearFit(
        coefficients=coefficients,
        covariance=root @ root.T,
        residuals=residuals,
        leverages=np.einsum("ij,ij->i", q, q),
        chi2=float(np.sum((residuals * weights) ** 2)),
        dof=len(observed) - len(lengths),
    )


def _refuse_dependent_columns(r: Array) -> None:
    """Raise when the scaled columns, each of length 1, are dependent to the last digits of a double."""
    if r.shape[0] < r.shape[1] or np.min(np.abs(np.diag(r))) < r.shape[1] * np.finfo(np.float64).eps:
        raise np.linalg.LinAlgError("the columns of the design are not independent")
