"""The marker dots of one scan."""

import numpy as np

from verifier.joining.dots.bumps import bumps_on
from verifier.joining.dots.dot import NO_DOTS, Dots, alike
from verifier.joining.dots.round_holes import round_holes_in
from verifier.joining.trimming import shared_corners
from verifier.mesh import Array, Mesh, face_vectors_mm2

# So many faces tell how far corners lie apart; dots are not told from scatter where fewer than four lie across one.
SOME, MOST_SPACING_MM = 5000, 1.6


def find_dots(mesh: Mesh) -> Dots:
    """Bumps of one size, and round holes of one size, on smooth surface; none where fewer than three are alike.

    A bore has a wall or a floor, a boss is higher, a rounded mouth or a lip is not smooth: none of them is a dot.
    """
    if len(mesh.faces) == 0:
        return NO_DOTS
    mesh = shared_corners(mesh)
    spacing_mm = _spacing_mm(mesh)
    if not 0.0 < spacing_mm < MOST_SPACING_MM:
        return NO_DOTS
    normals = one_normal_a_corner(mesh)
    bumps = alike(bumps_on(mesh.vertices_mm, normals, spacing_mm))
    return bumps.and_more(alike(round_holes_in(mesh, normals, spacing_mm)))


def _spacing_mm(mesh: Mesh) -> float:
    some = mesh.faces[:: max(1, len(mesh.faces) // SOME)]
    return float(np.median(np.linalg.norm(mesh.vertices_mm[some[:, 0]] - mesh.vertices_mm[some[:, 1]], axis=1)))


def one_normal_a_corner(mesh: Mesh) -> Array:
    """That of one of its faces: the mean of them all would take five times as long and is not needed."""
    vectors = face_vectors_mm2(mesh)
    normals = np.zeros_like(mesh.vertices_mm)
    for k in range(3):
        normals[mesh.faces[:, k]] = vectors
    return np.asarray(normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12))
