"""Holes are filled with faces that follow the surface around them; nothing that was there is moved."""

from collections.abc import Sequence

import numpy as np

from verifier.mending.apart import drawn_apart
from verifier.mending.discs import Disc, chords, disc_over, with_chords_halved
from verifier.mending.draft import Draft
from verifier.mending.fairing import faired
from verifier.mending.loops import longest, loops_of
from verifier.mending.telling import tell_faces
from verifier.mending.thickness import kept_thick
from verifier.mesh import Array, IntArray, Mesh

FILLED_HOLES = "Filled holes"


def fill_holes(draft: Draft, what: str = FILLED_HOLES, *, fair: bool = True, keep_longest: bool = False) -> Draft:
    """Close every open loop with a disc of new faces marked FILLED.

    fair : lead the surface around on into the holes
    keep_longest : leave the longest loop open
    """
    loops = loops_of(draft)
    if keep_longest and loops:
        kept = longest(draft.mesh, draft.edges, loops)
        loops = [loop for loop in loops if loop is not kept]
    return fill_loops(draft, loops, what, fair=fair)


def fill_loops(draft: Draft, loops: Sequence[IntArray], what: str, *, fair: bool = True) -> Draft:
    """Close some open loops, each of which passes no corner twice."""
    if not loops:
        return draft
    discs = _unlike_the_part(draft, loops, [_disc_of(draft, loop) for loop in loops])
    inside, faces, hole = _numbered(draft, loops, discs)
    sewn = draft.with_sewn(inside, faces)
    if fair and len(inside):
        sewn = _faired(sewn, len(draft.mesh.vertices_mm), len(draft.mesh.faces), hole)
        sewn = kept_thick(sewn, len(draft.mesh.vertices_mm), len(draft.mesh.faces), hole)
    sewn = drawn_apart(sewn, len(draft.mesh.vertices_mm)).with_areas_of(draft)
    return sewn.telling(tell_faces(what, sewn.mesh, len(draft.mesh.faces) + np.arange(len(faces)), hole))


def _disc_of(draft: Draft, loop: IntArray) -> Disc:
    corners = draft.edges.start[loop]
    third = draft.mesh.faces[loop // 3, (loop + 2) % 3]
    return disc_over(draft.mesh.vertices_mm[corners], draft.mesh.vertices_mm[third])


def _unlike_the_part(draft: Draft, loops: Sequence[IntArray], discs: Sequence[Disc]) -> list[Disc]:
    """Discs without a chord that is an edge already, in the part or in another disc: more than two faces would meet."""
    edges, count = draft.edges, len(draft.mesh.vertices_mm)
    on_loop = np.zeros(count, dtype=bool)
    on_loop[edges.start[np.concatenate(loops)]] = True
    leaving = np.flatnonzero(on_loop[edges.start])
    start, end = edges.start[leaving], edges.ends_of(leaving)
    keys = np.minimum(start, end) * count + np.maximum(start, end)
    taken = set(keys[on_loop[end]].tolist())
    return [_without_taken(draft, loop, disc, taken) for loop, disc in zip(loops, discs, strict=True)]


def _without_taken(draft: Draft, loop: IntArray, disc: Disc, taken: set[int]) -> Disc:
    across = chords(disc, len(loop))
    if len(across) == 0:
        return disc
    corners = draft.edges.start[loop]
    ends = np.sort(corners[across], axis=1)
    keys = (ends[:, 0] * len(draft.mesh.vertices_mm) + ends[:, 1]).tolist()
    again = np.array([key in taken for key in keys])
    taken.update(keys)
    return with_chords_halved(disc, draft.mesh.vertices_mm[corners], across[again]) if again.any() else disc


def _numbered(draft: Draft, loops: Sequence[IntArray], discs: Sequence[Disc]) -> tuple[Array, IntArray, IntArray]:
    """All new corners, all new faces in the part's numbers, and the hole that each face fills."""
    count = len(draft.mesh.vertices_mm)
    faces, hole = [], []
    for k, (loop, disc) in enumerate(zip(loops, discs, strict=True)):
        number = np.concatenate([draft.edges.start[loop], count + np.arange(len(disc.inside_mm))])
        count += len(disc.inside_mm)
        faces.append(number[disc.faces])
        hole.append(np.full(len(disc.faces), k))
    return np.concatenate([disc.inside_mm for disc in discs]), np.concatenate(faces), np.concatenate(hole)


def _faired(draft: Draft, old_vertices: int, old_faces: int, hole: IntArray) -> Draft:
    """The draft with the corners inside its holes where they follow the surface around."""
    vertices, faces = draft.mesh.vertices_mm, draft.mesh.faces
    hole_of_corner = np.full(len(vertices), -1)
    hole_of_corner[faces[old_faces:].ravel()] = np.repeat(hole, 3)
    a, b, c = (np.take(hole_of_corner, faces[:, k]) >= 0 for k in range(3))
    around = np.flatnonzero(a | b | c)
    corners, local = np.unique(faces[around], return_inverse=True)
    part = Mesh(vertices[corners], local.reshape(-1, 3))
    moved = vertices.copy()
    moved[corners] = faired(part, corners >= old_vertices, hole_of_corner[corners], around >= old_faces)
    return draft.with_corners(moved, faces)
