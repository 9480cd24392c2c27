"""The table the part stood on: taken away with everything that lies in its plane, and the underside closed flat.

Filling the holes one by one instead would close every bore through which the table was seen.

         part              part
        |    |            |    |
    ____|    |____   ->   |____|      the table's faces look towards the part, and nothing lies below them:
    support surface                   no face of a solid is like that
"""

from dataclasses import dataclass

import manifold3d
import numpy as np

from verifier.mending.clipping import clipped
from verifier.mending.draft import Draft
from verifier.mending.fans import split_bow_ties
from verifier.mending.loops import cut_knotted_loops, open_loops
from verifier.mending.pieces import remove_debris_and_fins
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, IntArray, face_normals

# Faces within this of the plane belong to the support: the scatter of a handheld scan on a dull table (0.1 to 0.2 mm,
# common practice, no source) and the blend that a scan draws into the corner at the foot.
SUPPORT_BAND_MM = 0.3
# A rim more than half of which lies at the cut, rounding apart, is one of the underside, with whatever holes it ran
# into; a hole in the wall, however low, is not.
CUT_MM = SUPPORT_BAND_MM + 0.05
# Corners that may lie under the support all the same: a spike that was joined to a speck down there.
STRAY_SHARE = 0.001
# A part is at least this high.
LOWEST_PART_MM = 2.0
# Cosine of 25 degrees: a support's faces look along its normal but for their roughness.
ALONG = 0.9
# Share of the faces at the open loop that must lie in the plane; the rest is the ragged end of what was seen.
LOOP_SHARE = 0.8


@dataclass(frozen=True, slots=True)
class Plane:
    """A plane with the side it looks to."""

    at_mm: Array
    normal: Array

    def heights_mm(self, points_mm: Array) -> Array:
        """How far in front of the plane each point is, (n,)."""
        return np.asarray((points_mm - self.at_mm) @ self.normal)


def stand_free(draft: Draft) -> Draft:
    """Take the support surface away and close the underside, with a hole in it for every bore that reaches it.

    Everything up to the band over the plane goes; the walls that are left are led straight down to the plane again.
    """
    plane = _support_plane(draft)
    if plane is None:
        return draft
    heights = plane.heights_mm(draft.mesh.vertices_mm) - SUPPORT_BAND_MM
    behind = np.flatnonzero((heights[draft.mesh.faces] <= 0.0).all(axis=1))
    step = tell_faces("Removed support surface", draft.mesh, behind, np.zeros_like(behind))
    freed = remove_debris_and_fins(clipped(draft, heights).telling(step))
    return _underside_closed(cut_knotted_loops(split_bow_ties(freed)), plane)


def _support_plane(draft: Draft) -> Plane | None:
    """The plane of the longest open loop, when the faces at it are a support."""
    loops = open_loops(draft.edges)
    if not loops:
        return None
    faces = max(loops, key=len) // 3
    normals, areas = face_normals(draft.mesh)[faces], draft.areas_mm2[faces]
    mean = (normals * areas[:, None]).sum(axis=0)
    if np.linalg.norm(mean) < ALONG * areas.sum():
        return None
    middles = draft.mesh.corners_mm[faces].mean(axis=1)
    plane = _fitted(middles, mean / np.linalg.norm(mean))
    in_plane = (np.abs(plane.heights_mm(middles)) < SUPPORT_BAND_MM) & (normals @ plane.normal > ALONG)
    _, piece = draft.pieces
    around = draft.mesh.vertices_mm[np.unique(draft.mesh.faces[piece == piece[faces[0]]])]
    heights = plane.heights_mm(around)
    lowest = float(np.quantile(heights, STRAY_SHARE))
    nothing_below = lowest > -2.0 * SUPPORT_BAND_MM and float(heights.max()) > LOWEST_PART_MM
    return plane if nothing_below and float(in_plane.mean()) > LOOP_SHARE else None


def _fitted(points_mm: Array, towards: Array) -> Plane:
    """The least-squares plane through points, looking to the given side."""
    middle = points_mm.mean(axis=0)
    normal = np.linalg.svd(points_mm - middle, full_matrices=False)[2][2]
    return Plane(middle, normal * np.sign(normal @ towards))


def _underside_closed(draft: Draft, plane: Plane) -> Draft:
    """Walls from all rims at the cut down to the plane, and one flat face with holes between them."""
    rims = [draft.edges.start[loop][::-1] for loop in open_loops(draft.edges)]
    heights = [plane.heights_mm(draft.mesh.vertices_mm[rim]) for rim in rims]
    foot = [rim for rim, height in zip(rims, heights, strict=True) if float(np.median(height)) < CUT_MM]
    if not foot:
        return draft
    corners = np.concatenate(foot)
    height = plane.heights_mm(draft.mesh.vertices_mm[corners])
    base_mm = draft.mesh.vertices_mm[corners] - height[:, None] * plane.normal
    base = [
        len(draft.mesh.vertices_mm) + k for k in np.split(np.arange(len(corners)), np.cumsum([*map(len, foot)])[:-1])
    ]
    walls = [_wall(rim, below) for rim, below in zip(foot, base, strict=True)]
    flat = len(draft.mesh.vertices_mm) + _flat_face(base_mm, [*map(len, foot)], plane)
    faces = np.concatenate([*walls, flat])
    sewn = draft.with_sewn(base_mm, faces)
    made = len(draft.mesh.faces) + np.arange(len(faces))
    step = tell_faces("Closed the underside where it stood", sewn.mesh, made, np.zeros_like(made))
    return sewn.telling(step)


def _wall(rim: IntArray, below: IntArray) -> IntArray:
    """Two faces for every edge of a rim, down to the same edge of the base."""
    ahead, below_ahead = np.roll(rim, -1), np.roll(below, -1)
    return np.concatenate([np.column_stack([rim, ahead, below_ahead]), np.column_stack([rim, below_ahead, below])])


def _flat_face(base_mm: Array, lengths: list[int], plane: Plane) -> IntArray:
    """Triangles between the rims of the base as seen from below, in numbers of the base's corners."""
    across = np.linalg.svd(plane.normal[None])[2][1:]
    if np.linalg.det(np.vstack([across, -plane.normal])) < 0:
        across = across[::-1]
    seen = np.split((base_mm - plane.at_mm) @ across.T, np.cumsum(lengths)[:-1])
    return np.asarray(manifold3d.triangulate([np.ascontiguousarray(rim) for rim in seen]), dtype=np.int64)
