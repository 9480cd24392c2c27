"""Faces made before they are sewn in, between corners that are there and corners of their own."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
