"""A part seen without its underside and without a table: cut off along a plane by the scanner's program, or never seen.

So is a hub that stands out of the part and whose end was not seen. Its outline and the mouths of its bores end in one
plane. They are closed together, with a flat face that has a hole for every bore; a lid over each of them would shut the
bores.

        |   | |   |              |   | |   |
        |   | |   |      ->      |   | |   |      the walls stand on the plane, and nothing lies below it:
        '   \' \'   '              |___| |___|      a hole in a face has that face beside it instead
"""

import numpy as np
from numpy.typing import NDArray

from verifier.mending.cut_free import cut_free
from verifier.mending.draft import Draft
from verifier.mending.loops import by_length, open_loops
from verifier.mending.underside import Plane, fitted_plane
from verifier.mesh import Array, IntArray, Mesh, face_normals, marked_once

# A rim is level where most of it lies within this: a row of faces of a handheld scan's net (0.3 to 0.6 mm). The rest
# climbs around holes that run into the rim.
LEVEL_MM = 0.6
LEVEL_SHARE = 0.7
# So often the plane is fitted anew to what lies level in it.
FITS = 3
# Cosine of 60 degrees: of the faces at a rim whose walls stand on its plane half the area looks less along its normal.
STANDING = 0.5
# So much of the part's width, both ways in the plane, lies between the rims: of a bar's end or a hole there is less.
SPAN_SHARE = 0.7
# Rims that are tried, the longest first.
MOST_TRIED = 8
# The cut is made so much over the highest part of the rim, that it may run along a wall and not along the rim.
ABOVE_RIM_MM = 0.05
# Corners that may lie under the plane all the same: a spike.
STRAY_SHARE = 0.001
# Corners of the rim at either end of its heights that do not say where it begins and ends.
STRAY_OF_RIM = 0.05
EVENED = "Evened the rim below"


def close_open_below(draft: Draft) -> Draft:
    """Close a part flat where a rim and those beside it end in one plane; any other comes back as it is."""
    loops = open_loops(draft.edges)
    points = draft.mesh.vertices_mm
    seen_mm = points[marked_once(draft.mesh.faces, len(points))]
    for rim in by_length(draft.mesh, draft.edges, loops)[:MOST_TRIED]:
        plane, share = level_plane(points[draft.edges.start[rim]], seen_mm.mean(axis=0))
        if share < LEVEL_SHARE or not stands_on(draft, rim, plane):
            continue
        heights = plane.heights_mm(points[draft.edges.start[rim]])
        low, high = np.quantile(heights[np.abs(heights) < LEVEL_MM / 2], [STRAY_OF_RIM, 1.0 - STRAY_OF_RIM])
        over = plane.heights_mm(seen_mm)
        if np.quantile(over, STRAY_SHARE) < low - LEVEL_MM:
            continue
        level = [loop for loop in loops if abs(np.median(plane.heights_mm(points[draft.edges.start[loop]]))) < LEVEL_MM]
        if not (_is_as_wide(draft, level, seen_mm[over > high]) or _holds_a_mouth(draft, level, rim, plane)):
            continue
        below = Plane(plane.at_mm + low * plane.normal, plane.normal)
        closed = cut_free(draft, below, float(high - low) + ABOVE_RIM_MM, EVENED)
        return draft if closed.crossings else closed.draft
    return draft


def level_plane(rim_mm: Array, towards_mm: Array) -> tuple[Plane, float]:
    """The plane that most of a rim lies level in, looking towards a place, and the share of the rim that does."""
    plane = fitted_plane(rim_mm, towards_mm - rim_mm.mean(axis=0))
    for _ in range(FITS):
        heights = plane.heights_mm(rim_mm)
        level = np.abs(heights - np.median(heights)) < LEVEL_MM / 2
        plane = fitted_plane(rim_mm[level], plane.normal)
    return plane, float((np.abs(plane.heights_mm(rim_mm)) < LEVEL_MM / 2).mean())


def stands_on(draft: Draft, rim: IntArray, plane: Plane) -> bool:
    """Whether the faces at a rim are walls on the plane, and not a face in it."""
    beside = np.unique(rim // 3)
    along = np.abs(face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[beside])) @ plane.normal)
    areas = draft.areas_mm2[beside]
    return bool(areas[along < STANDING].sum() > 0.5 * areas.sum())


def _holds_a_mouth(draft: Draft, level: list[IntArray], rim: IntArray, plane: Plane) -> bool:
    """Whether of the rims in the plane one is a bore's mouth within another: of a hub without its end, say."""
    points = draft.mesh.vertices_mm
    across = np.linalg.svd(plane.normal[None])[2][1:]
    outline = points[draft.edges.start[rim]]
    for loop in level:
        x, y = across @ (outline - points[draft.edges.start[loop]].mean(axis=0)).T
        if loop is not rim and winds_round(x + 1j * y) and stands_on(draft, loop, plane):
            return True
    return False


def winds_round(outline: NDArray[np.complex128]) -> bool:
    """Whether a closed line goes round nought."""
    return bool(abs(np.angle(np.roll(outline, -1) / outline).sum()) > np.pi)


def _is_as_wide(draft: Draft, level: list[IntArray], seen_mm: Array) -> bool:
    """Whether the rims in the plane reach nearly as far as the part over it."""
    rims_mm = draft.mesh.vertices_mm[draft.edges.start[np.concatenate(level)]]
    across = np.linalg.svd(rims_mm - rims_mm.mean(axis=0), full_matrices=False)[2][:2]
    return bool((np.ptp(rims_mm @ across.T, axis=0) > SPAN_SHARE * np.ptp(seen_mm @ across.T, axis=0)).all())
