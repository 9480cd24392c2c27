"""What a print's readings do not tell, and which size to measure for it: sentences for the person at the bench."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from verifier.learning.fit import PrintFit, determined_u
from verifier.learning.row import PrintRow, ReadRow
from verifier.learning.terms import IN_WORDS, RATIOS, TERMS, Term, TermName, design_of

# A size not read yet is taken to be readable this surely: a digital calliper on plastic, and the print's own scatter.
USUAL_U_MM = 0.03

GENERAL: Mapping[TermName, str] = {
    "shrink_xy": "a centre distance between two upright bores, the farther apart the better",
    "shrink_z": "a long size along the build direction, such as the height as it was printed",
    "hole_mm": "the diameter of an upright bore",
    "proud_mm": "a short outside size in the plane of the layers, besides a long one",
}


def print_advice(
    fit: PrintFit, read: Sequence[ReadRow], unread: Sequence[PrintRow], tables: Mapping[TermName, Term]
) -> tuple[str, ...]:
    """What to take again, what cannot be told, and what to measure for it.

    unread : rows of the same print that were not read; one of them is named where it helps
    """
    if fit.misread:  # taken again, they may tell everything
        return tuple(map(_misread, fit.misread))
    return (*_untold(fit, read, unread), *_weak(fit, read, unread, tables))


def _misread(group: tuple[str, ...]) -> str:
    if len(group) == 1:
        return f"The reading of '{group[0]}' does not fit the others and was left out: take it again."
    names = " or ".join(f"'{name}'" for name in group)
    return f"One of the readings of {names} does not fit the others; all of these were left out: take them again."


def _untold(fit: PrintFit, read: Sequence[ReadRow], unread: Sequence[PrintRow]) -> Iterator[str]:
    for name in fit.unread:
        yield f"Nothing tells {IN_WORDS[name]}: measure {_helpful(name, fit, read, unread)}."
    for group in fit.entangled:
        told = " and ".join(IN_WORDS[name] for name in group)
        wanted = _helpful(group[0], fit, read, unread)
        yield f"The readings tell {told} only together, not apart: measure {wanted}."


def _weak(
    fit: PrintFit, read: Sequence[ReadRow], unread: Sequence[PrintRow], tables: Mapping[TermName, Term]
) -> Iterator[str]:
    for name, term in fit.terms.items():
        if term.u > tables[name].u:
            wanted = _helpful(name, fit, read, unread)
            yield (
                f"This print tells {IN_WORDS[name]} to ± {as_told(name, 2 * term.u)}, less surely than the rules do,"
                f" and does not count for it: measure {wanted}."
            )


def _helpful(name: TermName, fit: PrintFit, read: Sequence[ReadRow], unread: Sequence[PrintRow]) -> str:
    """The unread row that would tell the term best, or in general words what would."""
    rows = [(each.row, each.u_mm) for each in read if each.row.name not in fit.left_out]
    now = determined_u(name, rows)
    best_u, best = min(
        ((determined_u(name, [*rows, (row, USUAL_U_MM)]), row.name) for row in unread), default=(np.inf, "")
    )
    # Less than a tenth better is not worth a walk to the print.
    if best_u < 0.9 * now:
        return f"'{best}'"
    touching = design_of(unread)[:, TERMS.index(name)]
    return f"'{unread[int(touching.argmax())].name}'" if np.isinf(now) and np.any(touching > 0.0) else GENERAL[name]


def as_told(name: TermName, value: float, *, signed: bool = False) -> str:
    """'0.30 %' for a ratio, '0.12 mm' for a length."""
    sign = "+" if signed else ""
    return f"{100 * value:{sign}.2f} %" if name in RATIOS else f"{value:{sign}.3f} mm"


def as_told_with_u(name: TermName, value: float, expanded_u: float) -> str:
    """'0.30 ± 0.20 %' for a ratio, '0.151 ± 0.046 mm' for a length."""
    if name in RATIOS:
        return f"{100 * value:.2f} ± {100 * expanded_u:.2f} %"
    return f"{value:.3f} ± {expanded_u:.3f} mm"
