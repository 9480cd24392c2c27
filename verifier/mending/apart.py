"""New corners that came to lie in the very place of another corner are drawn apart: in the file they would be one."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.fans import APART_MM
from verifier.mesh import Array, IntArray


def drawn_apart(draft: Draft, first_new: int) -> Draft:
    """The draft with new corners, numbered from `first_new` on, drawn two microns into their own faces where needed.

    Two fills over one narrow place do that: the middle of a chord that both have is the same.
    """
    doubled = _doubled(draft.mesh.vertices_mm, first_new)
    if len(doubled) == 0:
        return draft
    vertices = draft.mesh.vertices_mm.copy()
    beside = draft.mesh.faces[np.isin(draft.mesh.faces, doubled).any(axis=1)]
    for corner in doubled.tolist():
        around = beside[(beside == corner).any(axis=1)]
        away = draft.mesh.vertices_mm[around].mean(axis=(0, 1)) - vertices[corner]
        vertices[corner] += APART_MM * away / max(float(np.linalg.norm(away)), APART_MM)
    return draft.with_corners(vertices, draft.mesh.faces)


def _doubled(vertices_mm: Array, first_new: int) -> IntArray:
    """New corners equal to another as 32-bit floats; of several new ones in one place the first may stay."""
    written = vertices_mm.astype(np.float32)
    new = np.sort(written[first_new:, 0])
    place = np.minimum(np.searchsorted(new, written[:, 0]), max(len(new) - 1, 0))
    alike = np.flatnonzero(new[place] == written[:, 0]) if len(new) else np.empty(0, dtype=np.int64)
    _, first = np.unique(written[alike], axis=0, return_index=True)
    later = np.setdiff1d(alike, alike[first])
    return np.asarray(later[later >= first_new], dtype=np.int64)
