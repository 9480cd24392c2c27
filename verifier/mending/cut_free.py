"""A part cut off along a plane and closed there: walls down to the plane, one flat face with a hole for every bore."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from verifier.mending.clipping import clipped
from verifier.mending.crossings import crossing_near
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.loops import cut_knotted_loops
from verifier.mending.pieces import remove_debris_and_fins
from verifier.mending.telling import tell_faces
from verifier.mending.underside import Plane, feet_of, with_notches_filled, with_underside
from verifier.mesh import Array, Mesh, within

# How much higher the cut is tried when the underside would cross itself: a knot in the rim is seldom so high.
LIFTS_MM = (0.0, 0.1, 0.2)
# Of a fine net's rim, scatter folds a face here and there. Where new walls run through no more than this share of the
# faces at their rims, such folds are mended with all others; more, and the rim is none to be closed so.
FOLDED_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class CutFree:
    """A part that was cut off and closed, and how often its new walls run through something."""

    draft: Draft
    crossings: int

    def is_sound(self, rim_corners: int) -> bool:
        """Whether the new walls cross so little, for rims of so many corners, that it is mended like any fold."""
        return self.crossings <= FOLDED_SHARE * rim_corners


def cut_free(draft: Draft, plane: Plane, cut_mm: float, what: str) -> CutFree:
    """Cut off so high over the plane, or a little higher where the underside crosses least; closed in the plane.

    what : what is told of the surface that goes
    """
    return least_crossed(draft, (_closed_at(draft, plane, cut_mm + lift_mm, what) for lift_mm in LIFTS_MM))


def _closed_at(draft: Draft, plane: Plane, cut_mm: float, what: str) -> CutFree:
    """Cut off so high over the plane, its rims kept to the cut, and closed in the plane."""
    freed = cut_off(draft, plane.heights_mm(draft.mesh.vertices_mm) - cut_mm, what)
    freed = with_notches_filled(freed, plane, cut_mm, feet_of(freed, plane, cut_mm))
    made = with_underside(freed, plane, feet_of(freed, plane, cut_mm))
    return CutFree(made, wall_crossings(freed.mesh, made.mesh))


def least_crossed(draft: Draft, tried: Iterable[CutFree]) -> CutFree:
    """The first of some tries that runs through nothing, none after it being made, or else the one that does least.

    draft : what none of them is better than, where there are none
    """
    best = CutFree(draft, len(draft.mesh.faces))
    for each in tried:
        best = min(best, each, key=lambda one: one.crossings)
        if best.crossings == 0:
            break
    return best


def cut_off(draft: Draft, over_mm: Array, what: str) -> Draft:
    """The surface where it lies over a cut, without crumbs, its rims walked once round each.

    over_mm : (n,) how far over the cut each corner lies; what : what is told of the surface that goes
    """
    behind = within(draft.mesh.faces, over_mm <= 0.0)
    step = tell_faces(what, draft.mesh, behind, np.zeros_like(behind))
    return cut_knotted_loops(split_bow_ties(remove_debris_and_fins(clipped(draft, over_mm).telling(step))))


def wall_crossings(freed: Mesh, made: Mesh) -> int:
    """How often the walls led to the plane run through each other or through anything else.

    The flat face between them is not asked: nothing else lies so low, and where its rims cross, so do the walls on
    them. Its faces, as long as the part, would each be tried against all the others.
    """
    first = len(freed.faces)
    walls = made.faces[first:][(made.faces[first:] < len(freed.vertices_mm)).any(axis=1)]
    walled = Mesh(made.vertices_mm, np.concatenate([freed.faces, walls]))
    pairs = crossing_near(walled, np.arange(len(walled.faces)) >= first, closely=True)
    return int((pairs >= first).any(axis=1).sum())
