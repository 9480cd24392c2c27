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
from verifier.mending.holes import FILLED_HOLES, fill_holes, fill_loops
from verifier.mending.loops import longest, loops_of
from verifier.mending.open_below import (
    ABOVE_RIM_MM,
    LEVEL_MM,
    STANDING,
    STRAY_OF_RIM,
    close_open_below,
)
from verifier.mending.table_sheet import LOWEST_PART_MM, REMOVED_SUPPORT, STRAY_SHARE, SUPPORT_BAND_MM
from verifier.mending.underside import DINT_MM2, Plane, enclosed, fitted_plane
from verifier.mesh import IntArray, Mesh, face_normals, marked_once

# Crossings so little above the cut are mended before it: cut out afterwards, with the rings around them, they take the
# walls led down and a piece of the flat underside with them. About what the widest rings of a fine scan reach.
FOOT_MM = 0.5
# Cosine of 25 degrees: a support's faces look along its normal but for their roughness.
ALONG = 0.9
# No face counts for more than so many middle ones in where the support looks: one spike would outweigh the rest.
LARGEST_VOTE = 4.0
# Share of the open loop, by its length, whose faces must lie in the plane; the rest is the ragged end of what was seen.
LOOP_SHARE = 0.8
# Walls that end so near to the table go on down to it: nearer to it the scanner's program cut away what it took for the
# table, or a rounding of the foot, 2 mm at most (common practice, no source), hides the rest.
OVER_TABLE_MM = 2.5


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
    return cut_free(draft, plane, SUPPORT_BAND_MM, REMOVED_SUPPORT).draft


def stand_on(draft: Draft, table: Plane) -> Draft:
    """Close a part flat in the plane of a table that is gone already; as it is where no walls end there.

    Bores end in rims of their own here, and not in the table's. Holes that the cut would run into are filled before it.
    """
    loops, heights = loops_of(draft), table.heights_mm(draft.mesh.vertices_mm)
    feet = _level_feet(draft, [loop for loop in loops if _is_at_foot(draft, loop, table)], table)
    if not any(_share(draft, loop, table, -1.0) < 0.5 for loop in feet):
        return draft
    at_foot = heights[draft.edges.start[np.concatenate(feet)]]
    level = np.abs(at_foot - np.median(at_foot)) < LEVEL_MM / 2
    cut_mm = max(SUPPORT_BAND_MM, float(np.quantile(at_foot[level], 1.0 - STRAY_OF_RIM)) + ABOVE_RIM_MM)
    firsts, highest_mm = {int(loop[0]) for loop in feet}, cut_mm + LIFTS_MM[-1]
    cut_into = [loop for loop in loops if heights[draft.edges.start[loop]].min() < highest_mm]
    holes = [loop for loop in cut_into if int(loop[0]) not in firsts]
    return cut_free(fill_loops(draft, holes, FILLED_HOLES), table, cut_mm, REMOVED_SUPPORT).draft


def _level_feet(draft: Draft, rims: list[IntArray], table: Plane) -> list[IntArray]:
    """Of rims near a table those that are feet: an outline much higher than another is that of a body held over it."""
    rims_mm = [draft.mesh.vertices_mm[draft.edges.start[rim]] for rim in rims]
    around = np.array([float(enclosed(rim_mm) @ table.normal) for rim_mm in rims_mm])
    over_mm = np.array([float(np.median(table.heights_mm(rim_mm))) for rim_mm in rims_mm])
    is_outline = around * around[np.abs(around).argmax()] > 0.0 if rims else np.empty(0, dtype=bool)
    lowest_mm = over_mm[is_outline].min(initial=np.inf)
    return [rims[k] for k in np.flatnonzero(~is_outline | (over_mm < lowest_mm + LEVEL_MM)).tolist()]


def _is_at_foot(draft: Draft, rim: IntArray, table: Plane) -> bool:
    """Whether a rim goes round a place on the table, in its plane or a little over it; not in a face that looks up."""
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim]]
    enclosed_mm2 = enclosed(rim_mm)
    flat_mm2 = abs(float(enclosed_mm2 @ table.normal))
    if flat_mm2 < max(ALONG * float(np.linalg.norm(enclosed_mm2)), DINT_MM2):
        return False
    over_mm = float(np.median(table.heights_mm(rim_mm)))
    return over_mm < SUPPORT_BAND_MM or (over_mm < OVER_TABLE_MM and _share(draft, rim, table, 1.0) < 0.5)


def _share(draft: Draft, rim: IntArray, table: Plane, way: float) -> float:
    """Share of the faces at a rim, by area, that are no walls and look up from the table (1) or down on it (-1)."""
    beside = np.unique(rim // 3)
    along = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[beside])) @ table.normal
    areas = draft.areas_mm2[beside]
    return float(areas[way * along > STANDING].sum() / areas.sum())


def _support_plane(draft: Draft) -> Plane | None:
    """The plane of the longest open loop, when the faces at it are a support.

    It is laid through the faces that look along it, and they are judged by their share of the loop's length: a hole in
    the part that runs into the loop may have as many edges as all of a table seen less finely.
    """
    loops = loops_of(draft)
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
