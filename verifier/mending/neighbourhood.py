"""The faces near a place as a surface of their own, so that work on one hole costs what is around it, not the part."""

from dataclasses import dataclass

import numpy as np

from verifier.mending.draft import Draft
from verifier.mesh import Array, IntArray, Mesh, faces_meeting, own_corners


@dataclass(frozen=True, slots=True, eq=False)
class Neighbourhood:
    """Some faces of a surface.

    draft : those alone, in their order; where they were cut off it has a border
    corners, faces : what number each of its corners and faces, rising, has in the whole
    """

    draft: Draft
    corners: IntArray
    faces: IntArray

    def half_edges(self, of_whole: IntArray) -> IntArray:
        """What half-edges of its faces are here."""
        return np.asarray(3 * np.searchsorted(self.faces, of_whole // 3) + of_whole % 3)

    def back_in(self, whole: Draft, made: Draft) -> Draft:
        """The whole with the faces and corners that `made` has more than this, its own faces being as they were."""
        count = len(self.corners)
        number = np.concatenate(
            [self.corners, len(whole.mesh.vertices_mm) + np.arange(len(made.mesh.vertices_mm) - count)]
        )
        return whole.with_sewn(made.mesh.vertices_mm[count:], number[made.mesh.faces[len(self.faces) :]])


def around(draft: Draft, middle_mm: Array, reach_mm: float) -> Neighbourhood:
    """Every face whose box meets the cube that reaches so far from a place."""
    faces = faces_meeting(draft.mesh, np.arange(len(draft.mesh.faces)), middle_mm - reach_mm, middle_mm + reach_mm)
    corners, own = own_corners(draft.mesh.faces[faces], len(draft.mesh.vertices_mm))
    return Neighbourhood(Draft(Mesh(draft.mesh.vertices_mm[corners], own), draft.origin[faces]), corners, faces)
