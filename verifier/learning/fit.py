"""One print: shrinkage in the plane and upwards, hole loss and wall offset told apart by weighted least squares."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from verifier.correcting.least_squares import weighted_least_squares
from verifier.correcting.misreadings import RIVALS_WITHIN, critical_z
from verifier.learning.row import PrintRow, ReadRow
from verifier.learning.terms import TERMS, Expected, Term, TermName, design_of
from verifier.mesh import Array, BoolArray, IntArray

# Columns of the design, each scaled to length 1, count as dependent below this: rounding only.
_DEPENDENT = 1e-9
_ESTIMABLE_WITHIN = 1e-6


@dataclass(frozen=True, slots=True)
class PrintFit:
    """What one print says.

    terms : those that the readings alone tell apart
    entangled : groups of terms of which the readings tell only a sum
    unread : terms that no reading says anything about
    misread : groups of names; of a group of one it is sure, of a longer one it is not known which is wrong
    residuals_mm : print less what the fit says, by row; z : the same over its own uncertainty, with the expectation's
        help, so that a row no other row checks has one too
    """

    terms: Mapping[TermName, Term]
    entangled: tuple[tuple[TermName, ...], ...]
    unread: tuple[TermName, ...]
    misread: tuple[tuple[str, ...], ...]
    residuals_mm: Mapping[str, float]
    z: Mapping[str, float]

    @property
    def left_out(self) -> frozenset[str]:
        """Names of the rows that did not take part."""
        return frozenset(name for group in self.misread for name in group)


def fit_print(
    rows: Sequence[ReadRow],
    expected: Expected,
    family_error: float,
    scatter_mm: float,
    *,
    finer: Expected | None = None,
) -> PrintFit:
    """Find the terms that explain the readings of one print, and the readings that do not fit.

    expected : what was expected of each term; it helps to find a misreading and takes no part in the terms
    finer : what other prints say, to tell which of several readings is the wrong one. It never doubts a reading by
        itself: a filament that has changed would be taken for misread.
    family_error : chance that a sound print has any reading called misread
    scatter_mm : standard deviation of a printed size about the fit, from seams, corners and layers
    """
    sound, misread, z = _sound_rows(rows, expected, finer, family_error, scatter_mm)
    kept = [row for row, keep in zip(rows, sound, strict=True) if keep]
    design, loss_mm, u_mm = _observations(kept, scatter_mm)
    terms, entangled, unread, fitted_mm = _told_apart(design, loss_mm, u_mm)
    return PrintFit(
        terms=terms,
        entangled=entangled,
        unread=unread,
        misread=misread,
        residuals_mm={row.row.name: float(gap) for row, gap in zip(kept, fitted_mm - loss_mm, strict=True)},
        z={row.row.name: float(value) for row, value in zip(rows, z, strict=True)},
    )


def determined_u(name: TermName, rows: Sequence[tuple[PrintRow, float]]) -> float:
    """How surely these rows and standard uncertainties, mm, would tell a term; infinite where they would not."""
    if not rows:
        return float("inf")
    u_mm = np.array([u for _, u in rows])
    terms = _told_apart(design_of([row for row, _ in rows]), np.zeros_like(u_mm), u_mm)[0]
    return terms[name].u if name in terms else float("inf")


def _observations(rows: Sequence[ReadRow], scatter_mm: float) -> tuple[Array, Array, Array]:
    """Design (n, 4), mesh less print (n,), and its standard uncertainty (n,)."""
    loss_mm = np.array([row.row.model_mm - row.read_mm for row in rows])
    u_mm = np.array([np.sqrt(row.u_mm**2 + row.row.u_model_mm**2 + scatter_mm**2) for row in rows])
    return design_of([row.row for row in rows]), loss_mm, u_mm


def _told_apart(
    design: Array, loss_mm: Array, u_mm: Array
) -> tuple[dict[TermName, Term], tuple[tuple[TermName, ...], ...], tuple[TermName, ...], Array]:
    """Every term that the rows alone determine, those they entangle, those they are silent on, and the fitted losses.

    By the singular values of the weighted design: a term is determined when it is orthogonal to the null space.
    """
    lengths = np.linalg.norm(design / u_mm[:, None], axis=0)
    present = np.flatnonzero(lengths > 0.0)
    unread = tuple(name for k, name in enumerate(TERMS) if k not in present)
    if len(present) == 0:
        return {}, (), unread, np.zeros_like(loss_mm)
    scaled = design[:, present] / u_mm[:, None] / lengths[present]
    left, singular, right = np.linalg.svd(scaled, full_matrices=True)
    rank = int(np.sum(singular > _DEPENDENT))
    inverse = (right[:rank].T / singular[:rank]) / lengths[present][:, None]
    found = inverse @ (left[:, :rank].T @ (loss_mm / u_mm))
    u = np.linalg.norm(inverse, axis=1)
    loose = np.abs(right[rank:])
    told = np.all(loose < _ESTIMABLE_WITHIN, axis=0)
    terms = {TERMS[k]: Term(float(found[i]), float(u[i])) for i, k in enumerate(present) if told[i]}
    entangled = tuple(
        dict.fromkeys(
            tuple(TERMS[k] for i, k in enumerate(present) if direction[i] >= _ESTIMABLE_WITHIN) for direction in loose
        )
    )
    return terms, entangled, unread, design[:, present] @ found


def _sound_rows(
    rows: Sequence[ReadRow], expected: Expected, finer: Expected | None, family_error: float, scatter_mm: float
) -> tuple[BoolArray, tuple[tuple[str, ...], ...], Array]:
    """Leave out the worst reading again and again until the rest agrees, a quarter of the rows at the most.

    After the data snooping of W. Baarda, as on the sheet of the original.
    """
    sound = np.ones(len(rows), dtype=bool)
    groups: list[tuple[str, ...]] = []
    first_z = _z_of(rows, expected, scatter_mm)
    z = first_z
    for _ in range(max(1, len(rows) // 4)):
        worst = _rows_to_question(z, critical_z(int(sound.sum()), family_error))
        if len(worst) == 0:
            break
        at = np.flatnonzero(sound)[worst]
        if len(at) > 1 and finer is not None:
            kept_z = _z_of([row for row, keep in zip(rows, sound, strict=True) if keep], finer, scatter_mm)[worst] ** 2
            at = at[kept_z >= kept_z.max() - RIVALS_WITHIN]
        groups.append(tuple(rows[k].row.name for k in at))
        sound[at] = False
        if len(at) > 1 or not sound.any():
            break
        z = _z_of([row for row, keep in zip(rows, sound, strict=True) if keep], expected, scatter_mm)
    return sound, tuple(groups), first_z


def _rows_to_question(z: Array, critical: float) -> IntArray:
    """The row that stands out most and those not told apart from it; none when it is within chance."""
    squares = z**2
    if len(squares) == 0 or squares.max() < critical**2:
        return np.array([], dtype=np.int64)
    return np.flatnonzero((squares >= squares.max() - RIVALS_WITHIN) & (squares >= 1.0)).astype(np.int64)


def _z_of(rows: Sequence[ReadRow], expected: Expected, scatter_mm: float) -> Array:
    """Residual of each row over its own standard uncertainty, in a fit that the expectation takes part in, (n,)."""
    design, loss_mm, u_mm = _observations(rows, scatter_mm)
    told = [expected[name] for name in TERMS]
    design = np.vstack([design, np.eye(len(TERMS))])
    observed = np.append(loss_mm, [term.value for term in told])
    u = np.append(u_mm, [term.u for term in told])
    fit = weighted_least_squares(design, observed, u)
    spread = (u * np.sqrt(fit.redundancies))[: len(rows)]
    return np.asarray(np.divide(fit.residuals[: len(rows)], spread, out=np.zeros(len(rows)), where=spread > 1e-9))
