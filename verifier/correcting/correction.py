"""The value that says how the scan differs from the part: scale, coat, and which readings do not fit."""

from dataclasses import dataclass

from verifier.mesh import Array
from verifier.powder import powder_mm


@dataclass(frozen=True, slots=True)
class Term:
    """Scale or coat: found value, standard uncertainty, whether the mesh is altered by it, and why or why not."""

    value: float
    u: float
    applied: bool
    reason: str


@dataclass(frozen=True, slots=True)
class Corrected:
    """One size after correction by the fit that leaves it out.

    corrected_mm : (measured - what the powder adds) / scale
    u_mm : standard uncertainty, with the covariance of scale and coats
    dof : degrees of freedom behind u_mm (infinite when the stated uncertainties were used as they stand)
    smallest_error_mm : the smallest error of this row's reading that the fit would show; infinite when none would
    z : normalised residual of the reading in the fit of all rows
    suspect : the reading does not fit the others
    """

    name: str
    corrected_mm: float
    u_mm: float
    dof: float
    smallest_error_mm: float
    z: float
    suspect: bool
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """How the scan differs from the part: scan = scale * true + walls * coat, with a coat of its own inside bores.

    scale : ratio, 1 when the scan is true
    coat : thickness on one face, mm
    coat_inside : thickness on one wall of a bore or slot, mm; taken off wherever the coat is
    covariance : (3, 3) of scale, coat and coat inside
    sizes : every measured row, corrected by the fit without it
    chi2, dof : of the fit with all unsuspected rows
    separable : scale and coat could be told apart
    advice : what would make it surer ('add a bore', 'read again: pin'), each a sentence
    """

    scale: Term
    coat: Term
    coat_inside: Term
    covariance: Array
    sizes: tuple[Corrected, ...]
    chi2: float
    dof: int
    separable: bool
    advice: tuple[str, ...] = ()

    @property
    def scale_taken(self) -> float:
        """The scale that is taken out of the mesh: 1 where it is left alone."""
        return self.scale.value if self.scale.applied else 1.0

    @property
    def coat_taken_mm(self) -> float:
        """The coat that is taken off the faces of the mesh: 0 where it is left alone."""
        return self.coat.value if self.coat.applied else 0.0

    @property
    def coat_taken_inside_mm(self) -> float:
        """The coat that is taken off the walls of bores and slots."""
        return self.coat_inside.value if self.coat_inside.applied else 0.0

    def taken_off_mm(self, walls: float) -> float:
        """How much shorter a size over so many coated walls, see Size, is after the coat is taken off the mesh."""
        return powder_mm(walls, self.coat_taken_mm, self.coat_taken_inside_mm)
