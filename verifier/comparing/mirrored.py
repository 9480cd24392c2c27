"""A solid as its mirror image: the twin of a left part is a right part."""

import numpy as np

from verifier.mending.solid import Solid
from verifier.mesh import Mesh


def mirrored(solid: Solid) -> Solid:
    """The mirror image, closed and outward oriented; which plane it is mirrored in is a matter of pose alone."""
    mesh = solid.mesh
    flipped = Mesh(mesh.vertices_mm * np.array([-1.0, 1.0, 1.0]), np.ascontiguousarray(mesh.faces[:, ::-1]))
    return Solid(flipped, solid.origin, solid.steps)
