"""A part seen without its underside and without a table: cut off along a plane by the scanner's program, or never seen.

So is a hub that stands out of the part and whose end was not seen. Its outline and the mouths of its bores end in one
plane. They are closed together, with a flat face that has a hole for every bore; a lid over each of them would shut the
bores.

        |   | |   |              |   | |   |
        |   | |   |      ->      |   | |   |      the walls stand on the plane, and nothing lies below it:
        '   \' \'   '              |___| |___|      a hole in a face has that face beside it instead
"""

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.cut_free import LIFTS_MM, CutFree, cut_free, cut_off, least_crossed, wall_crossings
from verifier.mending.draft import Draft
from verifier.mending.loops import by_length, loops_of
from verifier.mending.outlines import in_plane, winds_round
from verifier.mending.underside import Plane, enclosed, feet_of, fitted_plane, with_notches_filled, with_underside
from verifier.mesh import Array, IntArray, Mesh, face_normals, marked_once

# A rim is level where most of it lies within this: a row of faces of a handheld scan's net (0.3 to 0.6 mm). The rest
# climbs around holes that run into the rim.
LEVEL_MM = 0.6
LEVEL_SHARE = 0.7
# So often the plane is fitted anew to what lies level in it.
FITS = 3
# Corners that a plane goes through.
LEAST_LEVEL = 3
# Cosine of 60 degrees: of the faces at a rim whose walls stand on its plane half the area looks less along its normal.
STANDING = 0.5
# So much of the part's width, both ways in the plane, lies between the rims: of a bar's end or a hole there is less.
SPAN_SHARE = 0.7
# Rims that are tried, the longest first.
MOST_TRIED = 8
# The cut is made so much over the highest part of the rim, that it may run along a wall and not along the rim.
ABOVE_RIM_MM = 0.05
# A face under a rim that is not cut lies so much lower, that no wall to it is without height.
UNDER_RIM_MM = 0.02
# Corners that may lie under the plane all the same: a spike.
STRAY_SHARE = 0.001
# Corners of the rim at either end of its heights that do not say where it begins and ends.
STRAY_OF_RIM = 0.05
# What lies so near to a rim says on which side of its plane the surface goes on: three rows of a coarse net.
BESIDE_MM = 2.5
# Sine of 15 degrees: faces that look down no more than this stand; more, and a corner has begun.
BENT = 0.26
EVENED = "Evened the rim below"


def close_open_below(draft: Draft) -> Draft:
    """Close a part flat where a rim and those beside it end in one plane; any other comes back as it is."""
    loops = loops_of(draft)
    points = draft.mesh.vertices_mm
    seen_mm = points[marked_once(draft.mesh.faces, len(points))]
    for rim in by_length(draft.mesh, draft.edges, loops)[:MOST_TRIED]:
        plane, share = level_plane(points[draft.edges.start[rim]], seen_mm.mean(axis=0))
        if share < LEVEL_SHARE or not (stands_on(draft, rim, plane) or rounds_into(draft, rim, plane)):
            continue
        heights = plane.heights_mm(points[draft.edges.start[rim]])
        low, high = level_ends_mm(heights)
        over = plane.heights_mm(seen_mm)
        if np.quantile(over, STRAY_SHARE) < low - LEVEL_MM:
            continue
        level = [loop for loop in loops if abs(np.median(plane.heights_mm(points[draft.edges.start[loop]]))) < LEVEL_MM]
        if not (_is_as_wide(draft, level, seen_mm[over > high]) or _holds_a_mouth(draft, level, rim, plane)):
            continue
        cut_mm = high - low + ABOVE_RIM_MM
        cut = CutFree(draft, len(draft.mesh.faces))
        if not stands_on(draft, rim, plane):
            cut = _closed_on_roundings(draft, under_all(plane, heights), cut_mm)
        if not cut.is_sound(len(rim)):
            cut = cut_free(draft, plane.raised(low), cut_mm, EVENED)
        return cut.draft if cut.is_sound(len(rim)) else draft
    return draft


def under_all(plane: Plane, heights_mm: Array) -> Plane:
    """The plane laid under all of a rim that is level in it."""
    return plane.raised(heights_mm[heights_mm > -LEVEL_MM / 2].min() - UNDER_RIM_MM)


def level_ends_mm(heights_mm: Array) -> tuple[float, float]:
    """Between which heights over its plane a level rim lies, but for what is stray."""
    level = heights_mm[np.abs(heights_mm) < LEVEL_MM / 2]
    low, high = np.quantile(level, [STRAY_OF_RIM, 1.0 - STRAY_OF_RIM])
    return float(low), float(high)


def _closed_on_roundings(draft: Draft, plane: Plane, cut_mm: float) -> CutFree:
    """The draft closed flat under rims that have turned into the plane already; walls of bores are led down to it."""
    mouths = [rim for rim in feet_of(draft, plane, LEVEL_MM) if stands_on(draft, rim, plane)]
    rims_mm = [draft.mesh.vertices_mm[draft.edges.start[rim]] for rim in mouths]
    tops_mm = [float(np.quantile(plane.heights_mm(rim_mm), 1.0 - STRAY_OF_RIM)) for rim_mm in rims_mm]
    over_mouths_mm = max([cut_mm, *(min(top_mm, 2.0 * LEVEL_MM) + ABOVE_RIM_MM for top_mm in tops_mm)])

    def closed_at(lift_mm: float) -> CutFree:
        freed = even = _bores_cut(draft, rims_mm, plane, over_mouths_mm + lift_mm)
        for height_mm in (cut_mm + lift_mm, over_mouths_mm + lift_mm):
            even = with_notches_filled(even, plane, height_mm, feet_of(even, plane, height_mm))
        made = with_underside(even, plane, feet_of(even, plane, over_mouths_mm + lift_mm))
        return CutFree(made, wall_crossings(freed.mesh, made.mesh))

    return least_crossed(draft, map(closed_at, LIFTS_MM))


def _bores_cut(draft: Draft, rims_mm: list[Array], plane: Plane, cut_mm: float) -> Draft:
    """The surface with the walls that end in some rims cut off so high over a plane; what turns into it stays."""
    if not rims_mm:
        return draft
    heights = plane.heights_mm(draft.mesh.vertices_mm)
    low = np.flatnonzero(heights < cut_mm + LEVEL_MM)
    off, _ = cKDTree(np.concatenate(rims_mm)).query(draft.mesh.vertices_mm[low], distance_upper_bound=BESIDE_MM)
    over = np.full(len(heights), np.ptp(heights) + 1.0)
    over[low[off < BESIDE_MM]] = heights[low[off < BESIDE_MM]] - cut_mm
    return cut_off(draft, over, EVENED)


def level_plane(rim_mm: Array, towards_mm: Array) -> tuple[Plane, float]:
    """The plane that most of a rim lies level in, looking towards a place, and the share of the rim that does."""
    plane = fitted_plane(rim_mm, towards_mm - rim_mm.mean(axis=0))
    for _ in range(FITS):
        heights = plane.heights_mm(rim_mm)
        level = np.abs(heights - np.median(heights)) < LEVEL_MM / 2
        if level.sum() < LEAST_LEVEL:
            break
        plane = fitted_plane(rim_mm[level], plane.normal)
    return plane, float((np.abs(plane.heights_mm(rim_mm)) < LEVEL_MM / 2).mean())


def stands_on(draft: Draft, rim: IntArray, plane: Plane) -> bool:
    """Whether the faces at a rim are walls on the plane, and not a face in it."""
    beside = np.unique(rim // 3)
    along = np.abs(face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[beside])) @ plane.normal)
    areas = draft.areas_mm2[beside]
    return bool(areas[along < STANDING].sum() > 0.5 * areas.sum())


def rounds_into(draft: Draft, rim: IntArray, plane: Plane) -> bool:
    """Whether a wall turns into the plane at a rim around a corner, and stands upright three rows of faces behind it.

    A dome looks down there still. What is left of the corner lies no deeper than the rim is ragged. A narrower rim may
    be a pinhole in the foot of a thin wall.
    """
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim]]
    around_mm = float(np.linalg.norm(rim_mm - np.roll(rim_mm, 1, axis=0), axis=1).sum())
    if 2.0 * float(np.linalg.norm(enclosed(rim_mm))) < BESIDE_MM * around_mm:
        return False
    faces, off = _faces_beside(draft, rim_mm)
    normals, areas = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[faces])), draft.areas_mm2[faces]
    at_rim, behind = off < np.quantile(off, 0.2), off > BESIDE_MM / 2
    if not behind.any():
        return False
    turned, upright = (np.average(-normals[some] @ plane.normal, weights=areas[some]) for some in (at_rim, behind))
    return bool(turned > BENT > upright)


def _faces_beside(draft: Draft, rim_mm: Array) -> tuple[IntArray, Array]:
    """The faces near a rim, (k,), and how far from its corners their middles lie, (k,)."""
    middles = draft.mesh.corners_mm.mean(axis=1)
    boxed = ((middles > rim_mm.min(axis=0) - BESIDE_MM) & (middles < rim_mm.max(axis=0) + BESIDE_MM)).all(axis=1)
    some = np.flatnonzero(boxed)
    off, _ = cKDTree(rim_mm).query(middles[some], distance_upper_bound=BESIDE_MM)
    return some[off < BESIDE_MM], off[off < BESIDE_MM]


def _holds_a_mouth(draft: Draft, level: list[IntArray], rim: IntArray, plane: Plane) -> bool:
    """Whether of the rims in the plane one is a bore's mouth within another: of a hub without its end, say."""
    points = draft.mesh.vertices_mm
    outline = points[draft.edges.start[rim]]
    for loop in level:
        about = in_plane(outline - points[draft.edges.start[loop]].mean(axis=0), plane)
        if loop is not rim and winds_round(about) and stands_on(draft, loop, plane):
            return True
    return False


def _is_as_wide(draft: Draft, level: list[IntArray], seen_mm: Array) -> bool:
    """Whether the rims in the plane reach nearly as far as the part over it."""
    rims_mm = draft.mesh.vertices_mm[draft.edges.start[np.concatenate(level)]]
    across = np.linalg.svd(rims_mm - rims_mm.mean(axis=0), full_matrices=False)[2][:2]
    return bool((np.ptp(rims_mm @ across.T, axis=0) > SPAN_SHARE * np.ptp(seen_mm @ across.T, axis=0)).all())
