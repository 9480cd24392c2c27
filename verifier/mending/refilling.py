"""Fillings that a file's 32 bits cannot hold are cut out and made anew."""

import numpy as np

from verifier.mending.crossings import with_rings
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.flat import is_flat
from verifier.mending.holes import fill_holes
from verifier.mending.loops import cut_knotted_loops
from verifier.mending.pieces import remove_debris_and_fins
from verifier.mending.solid import MendStep, Origin
from verifier.mesh import BoolArray, IntArray, marked_once, touching

CUT_UNWRITABLE = "Cut out fillings finer than a file can tell"
# Two fills in one narrow place have corners in a cluster two or three faces across; the wider cut is for what is left.
RINGS = (2, 4, 6)


def without_unwritable(draft: Draft) -> Draft:
    """The surface with new fillings where corners of the old ones are one, or their faces flat, as a file has them.

    A filling led round corners of the scan that lie a rounding apart has its own as near. The reader of the file makes
    one of equal corners and would find the surface open there.
    """
    for rings in RINGS:
        unwritable = np.flatnonzero(_unwritable(draft))
        if len(unwritable) == 0:
            break
        invented = draft.origin == Origin.FILLED
        cut = draft.without(with_rings(draft.mesh, unwritable, rings) & (invented | _at(draft, unwritable)))
        cut = cut_knotted_loops(split_bow_ties(remove_debris_and_fins(cut)))
        told = MendStep(CUT_UNWRITABLE, len(unwritable), 0.0)
        draft = fill_holes(cut.telling(told), "Filled where the filling was too fine", fair=False)
    return draft


def _at(draft: Draft, faces: IntArray) -> BoolArray:
    chosen = np.zeros(len(draft.mesh.faces), dtype=bool)
    chosen[faces] = True
    return chosen


def _unwritable(draft: Draft) -> BoolArray:
    """Faces with a corner that is one with another as written, or without area then, (m,)."""
    used = marked_once(draft.mesh.faces, len(draft.mesh.vertices_mm))
    written = draft.mesh.vertices_mm[used].astype(np.float32) + np.float32(0.0)
    _, place, times = np.unique(written, axis=0, return_inverse=True, return_counts=True)
    shared = np.zeros(len(draft.mesh.vertices_mm), dtype=bool)
    shared[used] = times[place.reshape(-1)] > 1
    return touching(draft.mesh.faces, shared) | is_flat(draft.mesh)
