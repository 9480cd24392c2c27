"""Which faces of a mesh are the walls of its bores and slots, as far as their mouths."""

from collections.abc import Sequence

import numpy as np
from scipy.spatial import cKDTree

from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals

# Finding leaves out what lies this near to a mouth, where a scan rounds the edge: a millimetre and two triangles.
LEFT_OUT_MM = 1.0
LEFT_OUT_EDGES = 2.0
# A wall goes on where a face looks the same way as the nearest one of the wall, and lies beside it and not before it.
SAME_WAY_WITHIN_DEG = 40.0
BESIDE_WITHIN_DEG = 30.0


def hollow_walls(mesh: Mesh, found: Sequence[IntArray]) -> IntArray:
    """The faces of all hollows, ascending.

    found : for each bore or slot the faces it was found by
    """
    walls = [faces for each in found if len(each) for faces in (each, _beside(mesh, each))]
    return np.unique(np.concatenate(walls)) if walls else np.zeros(0, dtype=np.int64)


def _beside(mesh: Mesh, wall: IntArray) -> IntArray:
    """The faces by which one wall goes on beyond those it was found by."""
    centres_mm, normals = _centres_mm(mesh, wall), _normals(mesh, wall)
    reach_mm = LEFT_OUT_MM + LEFT_OUT_EDGES * _edge_mm(mesh, wall)
    near = _in_box(mesh, centres_mm.min(axis=0) - reach_mm, centres_mm.max(axis=0) + reach_mm)
    others = np.setdiff1d(near, wall)
    away_mm, nearest = cKDTree(centres_mm).query(_centres_mm(mesh, others), distance_upper_bound=reach_mm)
    others, nearest = others[np.isfinite(away_mm)], nearest[np.isfinite(away_mm)]
    way = _centres_mm(mesh, others) - centres_mm[nearest]
    before_mm = np.abs(np.einsum("ij,ij->i", way, normals[nearest]))
    beside = before_mm <= np.sin(np.radians(BESIDE_WITHIN_DEG)) * np.linalg.norm(way, axis=1)
    alike = np.einsum("ij,ij->i", _normals(mesh, others), normals[nearest])
    goes_on: BoolArray = beside & (alike > np.cos(np.radians(SAME_WAY_WITHIN_DEG)))
    return np.asarray(others[goes_on])


def _centres_mm(mesh: Mesh, faces: IntArray) -> Array:
    return np.asarray(mesh.corners_of(faces).mean(axis=1))


def _normals(mesh: Mesh, faces: IntArray) -> Array:
    return face_normals(Mesh(mesh.vertices_mm, mesh.faces[faces]))


def _edge_mm(mesh: Mesh, faces: IntArray) -> float:
    """Middle length of the first edge of each face."""
    a, b = (mesh.vertices_mm[mesh.faces[faces, k]] for k in (0, 1))
    return float(np.median(np.linalg.norm(b - a, axis=1)))


def _in_box(mesh: Mesh, low_mm: Array, high_mm: Array) -> IntArray:
    """Faces whose first corner lies in the box, ascending."""
    inside: BoolArray = np.all((mesh.vertices_mm >= low_mm) & (mesh.vertices_mm <= high_mm), axis=1)
    return np.flatnonzero(inside[mesh.faces[:, 0]])
