"""Correcting: what the scanner and the powder did to the part, and the mesh to print."""

from verifier.correcting.bores import BoreWork, RebuiltBore, rebuild_bores
from verifier.correcting.bores_printed import BoreOnPrint, bores_on_print
from verifier.correcting.copy import true_copy
from verifier.correcting.correction import Corrected, Correction, Term
from verifier.correcting.printing import PrintPlan, plan_print, printed_sizes, upright_bores
from verifier.correcting.resting import choose_resting
from verifier.correcting.scale_coat import separate_scale_from_coat

__all__ = [
    "BoreOnPrint",
    "BoreWork",
    "Corrected",
    "Correction",
    "PrintPlan",
    "RebuiltBore",
    "Term",
    "bores_on_print",
    "choose_resting",
    "plan_print",
    "printed_sizes",
    "rebuild_bores",
    "separate_scale_from_coat",
    "true_copy",
    "upright_bores",
]
