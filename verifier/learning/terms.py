"""The four things that part a print from its mesh, and what a size says about each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from verifier.learning.row import PrintRow
from verifier.mesh import Array

TermName = Literal["shrink_xy", "shrink_z", "hole_mm", "proud_mm"]
TERMS: tuple[TermName, ...] = ("shrink_xy", "shrink_z", "hole_mm", "proud_mm")
RATIOS: tuple[TermName, ...] = ("shrink_xy", "shrink_z")
IN_WORDS: Mapping[TermName, str] = {
    "shrink_xy": "shrinkage in the plane of the layers",
    "shrink_z": "shrinkage along the build direction",
    "hole_mm": "what upright holes lose",
    "proud_mm": "how proud outside walls stand",
}

IN_SHORT: Mapping[TermName, str] = {
    "shrink_xy": "shrinks in the plane",
    "shrink_z": "shrinks upwards",
    "hole_mm": "upright holes lose",
    "proud_mm": "walls stand proud",
}


@dataclass(frozen=True, slots=True)
class Term:
    """One term with its standard uncertainty: a ratio for the two shrinkages, mm for the others."""

    value: float
    u: float


Expected = Mapping[TermName, Term]


def design_of(rows: Sequence[PrintRow]) -> Array:
    """What one unit of each term takes off each size, (n, 4), columns in the order of TERMS.

    mesh - print = size * ((1 - rise) * shrink_xy + rise * shrink_z) + hole - walls * proud

    A hole counts with all it loses on its diameter, and so its walls are not counted a second time. A strand that lies
    wider than planned moves upright walls only: faces above and below keep to the layers.
    """
    return np.array([list(_row_of(row)) for row in rows]).reshape(-1, len(TERMS))


def _row_of(row: PrintRow) -> Iterator[float]:
    yield row.model_mm * (1.0 - row.rise)
    yield row.model_mm * row.rise
    yield float(row.upright_hole)
    yield 0.0 if row.upright_hole else -row.walls * float(np.sqrt(1.0 - row.rise))
