"""Correcting: what the scanner and the powder did to the part, and the mesh to print."""

from verifier.correcting.copy import true_copy
from verifier.correcting.correction import Corrected, Correction, Term
from verifier.correcting.printing import PrintPlan, plan_print, printed_sizes
from verifier.correcting.scale_coat import separate_scale_from_coat

__all__ = [
    "Corrected",
    "Correction",
    "PrintPlan",
    "Term",
    "plan_print",
    "printed_sizes",
    "separate_scale_from_coat",
    "true_copy",
]
