"""Flat faces made truly flat, where they were flat."""

from collections.abc import Sequence

import numpy as np

from verifier.correcting.reshaping.work import Flat, Work, flat_of
from verifier.mesh import Array, Mesh, face_vectors_mm2, marked_once
from verifier.rulebook.reshape_row import Reshape

# A corner that two or three faces share is brought to all of them, one after the other, until it lies on each within
# this much: a thousandth of a scan's scatter.
ON_FACE_MM = 1e-5
ROUNDS = 60


def trued(work: Work, wanted: Reshape) -> tuple[Work, str]:
    """The named flat faces, or all of them, brought to their fitted planes; and what was done, a sentence.

    Every corner of a face that was fitted moves along the face's normal on to its plane. A corner stays where a face
    round it would turn over. Raises CannotReshape for a face that is not there any more.
    """
    names = [name for name in wanted.what or () if name.startswith("plane ")]
    planes = [plane for plane in work.found.planes if wanted.what is None or plane.name in names]
    flats = [flat_of(work, plane) for plane in planes]
    bores = [name for name in wanted.what or () if name not in names]
    if not flats:
        return work, f"Made truly round at their measured size: {', '.join(bores)}; the list of bores says how."
    mesh, held_back = _flattened(work.mesh, flats)
    moved = np.linalg.norm(mesh.vertices_mm - work.mesh.vertices_mm, axis=1)
    changed = (moved > 0.0)[work.mesh.faces].any(axis=1)
    told = "every flat face" if wanted.what is None else ", ".join(names)
    round_too = f" The bores {', '.join(bores)} were made truly round at their measured size." if bores else ""
    said = f"Made truly flat: {told} ({len(flats)}); the most a place moved is {moved.max():.3f} mm"
    said += f", and {held_back} corners at rims stayed." if held_back else "."
    return work.with_faces(mesh, np.arange(len(mesh.faces)), changed), said + round_too


def _flattened(mesh: Mesh, flats: Sequence[Flat]) -> tuple[Mesh, int]:
    """The mesh with its corners on the planes, and how many had to stay."""
    members = [marked_once(mesh.faces[flat.faces], len(mesh.vertices_mm)) for flat in flats]
    vertices = mesh.vertices_mm.copy()
    for _ in range(ROUNDS):
        furthest = 0.0
        for flat, own in zip(flats, members, strict=True):
            off = (vertices[own] - flat.centre_mm) @ flat.normal
            vertices[own] -= off[:, None] * flat.normal
            furthest = max(furthest, float(np.abs(off).max()))
        if furthest < ON_FACE_MM:
            break
    return _without_turned(mesh, vertices)


def _without_turned(mesh: Mesh, vertices: Array) -> tuple[Mesh, int]:
    """Corners of faces that would turn over are put back, until none does."""
    before = face_vectors_mm2(mesh)
    stayed: set[int] = set()
    while True:
        after = face_vectors_mm2(Mesh(vertices, mesh.faces))
        turned = np.einsum("ij,ij->i", before, after) <= 0.0
        back = np.unique(mesh.faces[turned])
        if stayed.issuperset(back.tolist()):
            return Mesh(vertices, mesh.faces), len(stayed)
        vertices[back] = mesh.vertices_mm[back]
        stayed.update(back.tolist())
