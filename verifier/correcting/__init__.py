"""Correcting: what the scanner and the powder did to the part, and the mesh to print."""

from verifier.correcting.bores import BoreWork, RebuiltBore, rebuild_bores
from verifier.correcting.bores_printed import BoreOnPrint, bores_on_print
from verifier.correcting.copied_features import copied_features
from verifier.correcting.copy import true_copy
from verifier.correcting.correction import Corrected, Correction, Term
from verifier.correcting.load import load_direction
from verifier.correcting.printing import PrintPlan, enlargement, plan_print, printed_sizes, upright_bores
from verifier.correcting.reshaping import Reshaping, reshape
from verifier.correcting.resting import choose_resting
from verifier.correcting.scale_coat import separate_scale_from_coat
from verifier.correcting.trued_bores import trued_holes

__all__ = [
    "BoreOnPrint",
    "BoreWork",
    "Corrected",
    "Correction",
    "PrintPlan",
    "RebuiltBore",
    "Reshaping",
    "Term",
    "bores_on_print",
    "choose_resting",
    "copied_features",
    "enlargement",
    "load_direction",
    "plan_print",
    "printed_sizes",
    "rebuild_bores",
    "reshape",
    "separate_scale_from_coat",
    "true_copy",
    "trued_holes",
    "upright_bores",
]
