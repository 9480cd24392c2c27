"""The part as it is without powder and scale error: the true copy."""

import numpy as np

from verifier.correcting.correction import Correction
from verifier.correcting.hollow_walls import hollow_walls
from verifier.correcting.offset import offset_inwards
from verifier.finding.feature import Features
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh


def true_copy(solid: Solid, correction: Correction, features: Features) -> Solid:
    """Take the coat off every face, then the scale error out, each only where the correction applies it.

    features : found on the solid; on the walls of its bores and slots powder lies as the correction says for those
    Faces, their order and their origins stay; a solid that needs neither comes back as it is, to the last bit.
    """
    mesh = solid.mesh
    if correction.coat.applied:
        mesh = offset_inwards(mesh, _coat_mm(mesh, correction, features))
    if correction.scale.applied:
        mesh = Mesh(mesh.vertices_mm / correction.scale.value, mesh.faces)
    return solid if mesh is solid.mesh else Solid(mesh, solid.origin, solid.steps)


def _coat_mm(mesh: Mesh, correction: Correction, features: Features) -> Array:
    """How thick the powder lies on each face, (m,)."""
    coat_mm = np.full(len(mesh.faces), correction.coat_taken_mm)
    found = [hollow.faces for hollow in features.bores] + [hollow.faces for hollow in features.slots]
    coat_mm[hollow_walls(mesh, found)] = correction.coat_taken_inside_mm
    return coat_mm
