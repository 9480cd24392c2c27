"""The table the part stood on: taken away with everything that lies in its plane, and the underside closed flat.

Filling the holes one by one instead would close every bore through which the table was seen.

         part              part
        |    |            |    |
    ____|    |____   ->   |____|      the table's faces look towards the part, and nothing lies below them:
    support surface                   no face of a solid is like that
"""

import numpy as np

from verifier.mending.crossings import mend_crossings
from verifier.mending.cut_free import LIFTS_MM, cut_free
from verifier.mending.draft import Draft
from verifier.mending.holes import fill_holes
from verifier.mending.loops import longest, open_loops
from verifier.mending.open_below import close_open_below
from verifier.mending.underside import Plane, fitted_plane
from verifier.mesh import Mesh, face_normals, marked_once

# Faces within this of the plane belong to the support: the scatter of a handheld scan on a dull table (0.1 to 0.2 mm,
# common practice, no source) and the blend that a scan draws into the corner at the foot.
SUPPORT_BAND_MM = 0.3
# Crossings so little above the cut are mended before it: cut out afterwards, with the rings around them, they take the
# walls led down and a piece of the flat underside with them. About what the widest rings of a fine scan reach.
FOOT_MM = 0.5
# Corners that may lie under the support all the same: a spike that was joined to a speck down there.
STRAY_SHARE = 0.001
# A part is at least this high.
LOWEST_PART_MM = 2.0
# Cosine of 25 degrees: a support's faces look along its normal but for their roughness.
ALONG = 0.9
# No face counts for more than so many middle ones in where the support looks: one spike would outweigh the rest.
LARGEST_VOTE = 4.0
# Share of the open loop, by its length, whose faces must lie in the plane; the rest is the ragged end of what was seen.
LOOP_SHARE = 0.8


def stand_free(draft: Draft) -> Draft:
    """Take the support surface away and close the underside, with a hole in it for every bore that reaches it.

    Everything up to the band over the plane goes; the walls that are left are led straight down to the plane again.
    Holes and folds at the foot are mended before the cut: it would run into them and come out as no outline.
    """
    plane = _support_plane(draft)
    if plane is None:
        return close_open_below(draft)
    draft = fill_holes(draft, keep_longest=True)
    heights = plane.heights_mm(draft.mesh.vertices_mm)
    a, b, c = (heights[draft.mesh.faces[:, k]] for k in range(3))
    highest, lowest = np.maximum(np.maximum(a, b), c), np.minimum(np.minimum(a, b), c)
    at_the_foot = (highest > SUPPORT_BAND_MM) & (lowest < SUPPORT_BAND_MM + LIFTS_MM[-1] + FOOT_MM)
    draft = mend_crossings(draft, among=at_the_foot, keep_longest=True)
    return cut_free(draft, plane, SUPPORT_BAND_MM, "Removed support surface").draft


def _support_plane(draft: Draft) -> Plane | None:
    """The plane of the longest open loop, when the faces at it are a support.

    It is laid through the faces that look along it, and they are judged by their share of the loop's length: a hole in
    the part that runs into the loop may have as many edges as all of a table seen less finely.
    """
    loops = open_loops(draft.edges)
    if not loops:
        return None
    rim = longest(draft.mesh, draft.edges, loops)
    faces = rim // 3
    beside = Mesh(draft.mesh.vertices_mm, draft.mesh.faces[faces])
    normals, areas = face_normals(beside), draft.areas_mm2[faces]
    weights = np.minimum(areas, LARGEST_VOTE * np.median(areas))
    mean = (normals * weights[:, None]).sum(axis=0)
    if np.linalg.norm(mean) < ALONG * weights.sum():
        return None
    towards = mean / np.linalg.norm(mean)
    ends = draft.mesh.vertices_mm[draft.edges.ends_of(rim)] - draft.mesh.vertices_mm[draft.edges.start[rim]]
    lengths_mm, middles = np.linalg.norm(ends, axis=1), beside.corners_mm.mean(axis=1)
    along = normals @ towards > ALONG
    if along.sum() < 3:
        return None  # a pinhole, of which two faces lie in any plane
    plane = fitted_plane(middles[along], towards)
    in_plane = (np.abs(plane.heights_mm(middles)) < SUPPORT_BAND_MM) & (normals @ plane.normal > ALONG)
    is_support = lengths_mm[in_plane].sum() > LOOP_SHARE * lengths_mm.sum()
    return plane if is_support and _is_lowest(draft, int(faces[0]), plane) else None


def _is_lowest(draft: Draft, face: int, plane: Plane) -> bool:
    """Whether nothing of the piece that a face is of lies below a plane, and something well over it."""
    _, piece = draft.pieces
    around = marked_once(draft.mesh.faces[piece == piece[face]], len(draft.mesh.vertices_mm))
    heights = plane.heights_mm(draft.mesh.vertices_mm[around])
    lowest = float(np.quantile(heights, STRAY_SHARE))
    return lowest > -2.0 * SUPPORT_BAND_MM and float(heights.max()) > LOWEST_PART_MM
