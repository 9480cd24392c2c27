"""A surface cut along a plane: faces that cross it are cut in two, and what is behind it goes."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.solid import Origin
from verifier.mesh import Array, IntArray

# A cut comes no nearer to a corner than this share of the edge: a shorter rest would be a sliver, and would weld with
# the corner when the file is read. On edges of 0.1 mm it moves the cut by two microns at most.
NEAREST = 0.02


def clipped(draft: Draft, heights_mm: Array) -> Draft:
    """The surface where its height is over zero.

    heights_mm : (n,) height of every corner over the plane. Corners keep their numbers and places.
    """
    above = heights_mm > 0.0
    count = above[draft.mesh.faces].sum(axis=1)
    mixed = np.flatnonzero((count == 1) | (count == 2))
    tips = _turned_to(draft.mesh.faces[mixed], np.where(count[mixed] == 1, 1, -1), above)
    one, two = tips[count[mixed] == 1], tips[count[mixed] == 2]
    ends = np.concatenate([one[:, [0, 1]], one[:, [0, 2]], two[:, [1, 0]], two[:, [2, 0]]])
    cuts_mm, number = _cuts(draft.mesh.vertices_mm, heights_mm, ends)
    number += len(draft.mesh.vertices_mm)
    to_b, to_c = number[: len(one)], number[len(one) : 2 * len(one)]
    from_b, from_c = number[2 * len(one) :][: len(two)], number[2 * len(one) + len(two) :]
    faces = np.concatenate(
        [
            np.column_stack([one[:, 0], to_b, to_c]),
            np.column_stack([two[:, 1], two[:, 2], from_c]),
            np.column_stack([two[:, 1], from_c, from_b]),
        ]
    )
    return draft.without(count < 3).with_sewn(cuts_mm, faces, Origin.MEASURED)


def _turned_to(faces: IntArray, sign: IntArray, above: np.ndarray) -> IntArray:
    """The faces from the corner that is alone on its side: the one above, or (sign -1) the one below."""
    alone = (above[faces] == (sign > 0)[:, None]).argmax(axis=1)
    return np.take_along_axis(faces, (alone[:, None] + np.arange(3)) % 3, axis=1)


def _cuts(vertices_mm: Array, heights_mm: Array, ends: IntArray) -> tuple[Array, IntArray]:
    """Where each edge (upper end, lower end) meets the plane, once an edge, and which of them each row is."""
    _, first, number = np.unique(ends[:, 0] * len(vertices_mm) + ends[:, 1], return_index=True, return_inverse=True)
    upper, lower = ends[first].T
    share = heights_mm[upper] / (heights_mm[upper] - heights_mm[lower])
    share = np.clip(share, NEAREST, 1.0 - NEAREST)[:, None]
    return vertices_mm[upper] + share * (vertices_mm[lower] - vertices_mm[upper]), number.reshape(len(ends))
