"""The part as it is without powder and scale error: the true copy."""

from verifier.correcting.correction import Correction
from verifier.correcting.offset import offset_inwards
from verifier.mending.solid import Solid
from verifier.mesh import Mesh


def true_copy(solid: Solid, correction: Correction) -> Solid:
    """Take the coat off every face, then the scale error out, each only where the correction applies it.

    Faces, their order and their origins stay; a solid that needs neither comes back as it is, to the last bit.
    """
    mesh = solid.mesh
    if correction.coat.applied:
        mesh = offset_inwards(mesh, correction.coat.value)
    if correction.scale.applied:
        mesh = Mesh(mesh.vertices_mm / correction.scale.value, mesh.faces)
    return solid if mesh is solid.mesh else Solid(mesh, solid.origin, solid.steps)
