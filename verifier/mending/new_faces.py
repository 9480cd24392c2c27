"""Faces made before they are sewn in, between corners that are there and corners of their own."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, IntArray


@dataclass(frozen=True, slots=True)
class NewFaces:
    """New corners, (k, 3), and faces in which the k-th of them is -1 - k."""

    corners_mm: Array
    faces: IntArray


def numbered_after(count: int, made: Sequence[NewFaces]) -> tuple[Array, IntArray]:
    """All their corners, and their faces as `Draft.with_sewn` has them where `count` corners were there before."""
    faces = []
    for each in made:
        faces.append(np.where(each.faces < 0, count - 1 - each.faces, each.faces))
        count += len(each.corners_mm)
    return np.concatenate([each.corners_mm for each in made]), np.concatenate(faces)


def sewn_in(draft: Draft, made: Sequence[NewFaces], what: str) -> Draft:
    """The draft with all of it sewn in and told, one group each; the draft itself where nothing was made."""
    if not made:
        return draft
    sewn = draft.with_sewn(*numbered_after(len(draft.mesh.vertices_mm), made))
    group = np.repeat(np.arange(len(made)), [len(each.faces) for each in made])
    return sewn.telling(tell_faces(what, sewn.mesh, len(draft.mesh.faces) + np.arange(len(group)), group))
