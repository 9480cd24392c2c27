"""A sheet that was seen from one side only: closed by a back of its own shape, a hair behind it.

Led straight across, a surface from rim to rim runs through a sheet that is not quite flat, over and over again.
"""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.holes import fill_holes
from verifier.mending.loops import cut_knotted_loops, open_loops
from verifier.mending.solid import Origin
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, Mesh, drop_unused_vertices, face_normals, face_vectors_mm2

# How thick the closed sheet is: what nobody saw is not made up, and no size grows by a hundredth of a millimetre. At
# 100 mm that is over six hundred steps of a 32-bit float, so it stays apart in the file.
BACK_MM = 0.005
# Of a sheet's surface so much looks one way; a half ball, deeper than any sheet, has a half.
LOOKS_ONE_WAY = 0.4
# Leaning a direction to the front of all faces at its corner: by this share of a normal, so many times, until it is so
# far in front (cosine) of each.
LEAN = 0.2
ROUNDS = 200
WELL_IN_FRONT = 0.3


def backed(surface: Draft) -> Draft | None:
    """The open surface with its back, every new face FILLED; None unless it is one piece with a rim that looks one way.

    All loops but the longest are holes, and filled as such.
    """
    if surface.pieces[0] != 1 or len(surface.edges.border) == 0 or not _is_a_sheet(surface.mesh):
        return None
    sheet = fill_holes(cut_knotted_loops(split_bow_ties(surface)), keep_longest=True)
    front = drop_unused_vertices(sheet.mesh)
    sheet = Draft(front, sheet.origin, sheet.steps)
    count = len(front.vertices_mm)
    back = count + front.faces[:, ::-1]
    rim = sheet.edges.start[open_loops(sheet.edges)[0]][::-1]
    ahead = np.roll(rim, -1)
    wall = np.concatenate(
        [np.column_stack([rim, ahead, count + ahead]), np.column_stack([rim, count + ahead, count + rim])]
    )
    faces = np.concatenate([back, wall])
    made = sheet.with_sewn(front.vertices_mm - BACK_MM * _outward(front), faces, Origin.FILLED)
    number = len(front.faces) + np.arange(len(faces))
    return made.telling(tell_faces("Backed a sheet seen from one side", made.mesh, number, np.zeros_like(number)))


def _is_a_sheet(mesh: Mesh) -> bool:
    """Whether most of the surface looks one way: that of a part which lacks a hole looks all ways alike."""
    vectors = face_vectors_mm2(mesh)
    return bool(np.linalg.norm(vectors.sum(axis=0)) > LOOKS_ONE_WAY * np.linalg.norm(vectors, axis=1).sum())


def _outward(mesh: Mesh) -> Array:
    """For every corner a direction in front of all faces at it, (n, 3) of length one.

    The mean of their normals points behind one of them at a sharp fold. Leaning it towards the normal of the face it is
    least in front of, again and again, finds one that is in front of all wherever there is one (perceptron).
    """
    normals, corners = face_normals(mesh), mesh.faces.ravel()
    face = np.repeat(np.arange(len(mesh.faces)), 3)
    way: Array = np.column_stack(
        [np.bincount(corners, normals[face, k], len(mesh.vertices_mm)) for k in range(3)]
    ).astype(np.float64)
    for _ in range(ROUNDS):
        way[corners] /= np.maximum(np.linalg.norm(way[corners], axis=1, keepdims=True), 1e-12)
        ahead = np.einsum("qx,qx->q", way[corners], normals[face])
        order = np.lexsort((ahead, corners))
        worst = order[np.r_[True, np.diff(corners[order]) > 0]]
        worst = worst[ahead[worst] < WELL_IN_FRONT]
        if len(worst) == 0:
            break
        way[corners[worst]] += LEAN * normals[face[worst]]
        still = np.zeros(len(way), dtype=bool)
        still[corners[worst]] = True
        corners, face = corners[still[corners]], face[still[corners]]
    return np.asarray(way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12))
