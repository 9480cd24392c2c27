"""Posed scans laid into one mesh, each less what was trimmed; the mending room then joins their borders."""

from collections.abc import Sequence

import numpy as np

from verifier.joining.posed import Fused, Posed
from verifier.mesh import Array, Mesh, drop_unused_vertices


def lay_together(posed: Sequence[Posed]) -> Fused:
    """The kept faces of every scan in the joined part's frame, not yet connected."""
    pieces = [_placed(each) for each in posed]
    firsts = np.cumsum([0, *(len(piece.vertices_mm) for piece in pieces)])
    mesh = Mesh(
        np.concatenate([piece.vertices_mm for piece in pieces]),
        np.concatenate([piece.faces + first for piece, first in zip(pieces, firsts, strict=False)]),
    )
    source = np.repeat(np.arange(len(pieces), dtype=np.int16), [len(piece.faces) for piece in pieces])
    return Fused(mesh, source)


def _placed(each: Posed) -> Mesh:
    mesh = each.scan.mesh
    kept = drop_unused_vertices(Mesh(mesh.vertices_mm, mesh.faces[each.keep_faces]))
    return Mesh(moved(kept.vertices_mm, each.pose), kept.faces)


def moved(points_mm: Array, pose: Array) -> Array:
    """Points at their place by a (4, 4) pose. The identity leaves every bit as it is."""
    if np.array_equal(pose, np.eye(4)):
        return points_mm
    return np.asarray(points_mm @ pose[:3, :3].T + pose[:3, 3])
