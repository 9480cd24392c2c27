"""Posed scans laid into one frame, each less what was trimmed."""

from collections.abc import Sequence

import numpy as np

from verifier.joining.posed import Posed
from verifier.joining.trimming import shared_corners
from verifier.mesh import Array, Mesh, drop_unused_vertices


def placed(each: Posed) -> Mesh:
    """The kept faces of a scan in the joined part's frame, over shared corners; faces without three corners go."""
    mesh = shared_corners(each.scan.mesh)
    faces = mesh.faces[each.keep_faces]
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    kept = drop_unused_vertices(Mesh(mesh.vertices_mm, faces))
    return Mesh(moved(kept.vertices_mm, each.pose), kept.faces)


def laid_beside(posed: Sequence[Posed]) -> Mesh:
    """All of them in one mesh, not joined."""
    pieces = [placed(each) for each in posed]
    firsts = np.cumsum([0, *(len(piece.vertices_mm) for piece in pieces)])
    faces = [piece.faces + first for piece, first in zip(pieces, firsts, strict=False)]
    return Mesh(np.concatenate([piece.vertices_mm for piece in pieces]), np.concatenate(faces))


def moved(points_mm: Array, pose: Array) -> Array:
    """Points at their place by a (4, 4) pose. The identity leaves every bit as it is."""
    if np.array_equal(pose, np.eye(4)):
        return points_mm
    return np.asarray(points_mm @ pose[:3, :3].T + pose[:3, 3])
