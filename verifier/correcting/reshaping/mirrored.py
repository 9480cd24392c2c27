"""The left part from the right one."""

from dataclasses import replace

import numpy as np

from verifier.correcting.reshaping.work import Work
from verifier.finding.feature import Features
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh

# Which plane it is mirrored in does not matter: the parts that come of it differ by a turn only. In this one every
# number but a sign stays to the last bit.
SIGNS = np.array([-1.0, 1.0, 1.0])


def mirrored(work: Work) -> Work:
    """Everything seen in a mirror; the faces turned round, so that they look outwards again."""
    mesh = Mesh(work.mesh.vertices_mm * SIGNS, np.ascontiguousarray(work.mesh.faces[:, ::-1]))
    carried = replace(work, solid=Solid(mesh, work.solid.origin, work.solid.steps)).moved(_in_mirror)
    return replace(carried, found=_turned(carried.found), up=work.up * SIGNS, signs=work.signs * SIGNS)


def _in_mirror(points_mm: Array) -> Array:
    return np.asarray(points_mm * SIGNS)


def _turned(found: Features) -> Features:
    """Directions as they are in the mirror."""
    return replace(
        found,
        planes=tuple(replace(each, normal=each.normal * SIGNS) for each in found.planes),
        cylinders=tuple(replace(each, axis=each.axis * SIGNS) for each in found.cylinders),
        extents=tuple(replace(each, direction=each.direction * SIGNS) for each in found.extents),
    )
