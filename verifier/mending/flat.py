"""Faces without area, in a surface that is closed otherwise: their longest edge is turned to the other diagonal."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.solid import MendStep
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2, touching

# Turning one edge can lay another flat face open beside it; rows of them are a few long.
ROUNDS = 8


def without_flat_faces(draft: Draft) -> Draft:
    """Turn the longest edge of every face whose corners lie on one line, so that both faces there have an area.

    Leaving the face out instead would open the surface. Corners stay where they are. Only edges whose turning makes no
    edge that is there already are turned; what then is left flat is for the judge.
    """
    turned = 0
    for _ in range(ROUNDS):
        flat = np.flatnonzero(is_flat(draft.mesh))
        edges = _turnable(draft, flat)
        if len(edges) == 0:
            break
        draft, turned = _with_turned_edges(draft, edges), turned + len(edges)
    return draft.telling(MendStep("Turned edges of faces without area", turned, 0.0))


def is_flat(mesh: Mesh) -> BoolArray:
    """Faces whose corners, rounded as in a file, enclose no area."""
    x, y, z = face_vectors_mm2(Mesh(mesh.vertices_mm.astype(np.float32).astype(np.float64), mesh.faces)).T
    return np.asarray((x == 0.0) & (y == 0.0) & (z == 0.0))


def _turnable(draft: Draft, flat: IntArray) -> IntArray:
    """The longest half-edge of each flat face, at most one for any face, where the other diagonal is no edge yet."""
    corners: Array = draft.mesh.corners_of(flat)
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).argmax(axis=1)
    chosen: list[int] = []
    busy: set[int] = set()
    made: set[tuple[int, int]] = set()
    half_edges = 3 * flat + longest
    around = _corners_around(draft.mesh.faces, draft.mesh.faces[flat, (longest + 2) % 3])
    for half_edge in half_edges.tolist():
        other = int(draft.edges.twin[half_edge])
        one, far = (_opposite_corner(draft.mesh.faces, h) for h in (half_edge, other))
        diagonal = min(one, far), max(one, far)
        if far not in around[one] and diagonal not in made and not {half_edge // 3, other // 3} & busy:
            busy |= {half_edge // 3, other // 3}
            made.add(diagonal)
            chosen.append(half_edge)
    return np.array(chosen, dtype=np.int64)


def _corners_around(faces: IntArray, corners: IntArray) -> dict[int, set[int]]:
    """Some corners, each with those that it shares a face with and itself."""
    asked = np.zeros(int(faces.max(initial=0)) + 1, dtype=bool)
    asked[corners] = True
    around: dict[int, set[int]] = {corner: set() for corner in corners.tolist()}
    for face in faces[touching(faces, asked)].tolist():
        for corner in face:
            if corner in around:
                around[corner].update(face)
    return around


def _with_turned_edges(draft: Draft, half_edges: IntArray) -> Draft:
    """Faces (a, b, c) and (b, a, d) become (c, d, b) and (d, c, a)."""
    faces, twins = draft.mesh.faces.copy(), draft.edges.twin[half_edges]
    for half_edge in half_edges.tolist():
        other = int(draft.edges.twin[half_edge])
        a, b = int(draft.edges.start[half_edge]), int(draft.edges.ends_of(np.array(half_edge)))
        c, d = _opposite_corner(draft.mesh.faces, half_edge), _opposite_corner(draft.mesh.faces, other)
        faces[half_edge // 3], faces[other // 3] = (c, d, b), (d, c, a)
    return draft.with_edges_turned(faces, np.r_[half_edges, twins] // 3)


def _opposite_corner(faces: IntArray, half_edge: int) -> int:
    return int(faces[half_edge // 3, (half_edge + 2) % 3])
