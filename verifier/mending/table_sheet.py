"""The table as a sheet of its own: joined to the part nowhere, beneath it or through its foot.

      part                 part
     |    |               |    |
_____|____|_____   ->     |    |      the sheet is flat, reaches beyond the part, and all of the part stands on it:
     '    '               '    '      no face of a solid is like that
"""

import numpy as np
from scipy.spatial import ConvexHull, QhullError

from verifier.mending.draft import Draft
from verifier.mending.pieces import DEBRIS_SHARE
from verifier.mending.telling import tell_faces
from verifier.mending.underside import Plane, fitted_plane
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals, face_vectors_mm2, marked_once, within

REMOVED_SUPPORT = "Removed support surface"
# Faces within this of the plane belong to the support: the scatter of a handheld scan on a dull table (0.1 to 0.2 mm,
# common practice, no source) and the blend that a scan draws into the corner at the foot.
SUPPORT_BAND_MM = 0.3
# Corners that may lie under the support all the same: a spike that was joined to a speck down there.
STRAY_SHARE = 0.001
# A part is at least this high.
LOWEST_PART_MM = 2.0
# So much of a sheet lies in its plane; the rest is its ragged end and what rises a little at the part's foot.
FLAT_SHARE = 0.9
# Of a sheet's surface so much looks one way; scatter of a fine net leans its faces by half a right angle.
FLAT_LOOK = 0.7
# Cosine of 60 degrees: faces that lean further from the plane are walls that end in it.
LIES_ALONG = 0.5
# Cosine of two degrees: sheets of one table.
ALIKE = 0.9994
# So often its plane is fitted anew to what lies in it.
FITS = 3
# A plane is fitted to so many corners at least, and a wall has as many within; a spike has one.
LEAST_CORNERS = 6
# A table reaches further than this beyond all that stands on it, with so much of its surface. What another pass saw of
# the part's own underside ends with the part: passes come to lie 0.1 to 0.3 mm apart (common practice, no source), and
# the part's walls lean over its foot by a few tenths.
BEYOND_MM = 1.0
BEYOND_SHARE = 0.1


def without_table_sheet(draft: Draft) -> tuple[Draft, Plane | None]:
    """The surface less every sheet of table, and the plane of the largest, looking to the part; None without one.

    What rises from a sheet stays: walls of the part may have been joined to it.
    """
    count, piece = draft.pieces
    if count == 1 or len(draft.edges.border) == 0:
        return draft, None
    flats = _flat_pieces(draft)
    for k in sorted(flats, key=lambda flat: -flats[flat][1]):
        plane, _ = flats[k]
        sheets = np.zeros(count, dtype=bool)
        sheets[[j for j, (other, _) in flats.items() if _is_level_with(other, plane)]] = True
        of_table = sheets[piece] & _lies_in(draft, plane)
        standing_mm = _corners_mm(draft, ~of_table)
        if _is_stood_on(plane, standing_mm) and _reaches_beyond(draft, of_table & (piece == k), plane, standing_mm):
            return _without(draft, of_table, sheets[piece]), _towards(plane, standing_mm)
    return draft, None


def _without(draft: Draft, of_table: BoolArray, of_sheets: BoolArray) -> Draft:
    """The surface less the table's faces and what they leave of its sheets in crumbs: steep faces, spikes, its end."""
    left = draft.without(of_table)
    count, piece = left.pieces
    area = np.bincount(piece, left.areas_mm2, count)
    is_crumb = (area < DEBRIS_SHARE * area.max()) | (_inside_corners(left) < LEAST_CORNERS)
    gone = of_table.copy()
    gone[~of_table] = of_sheets[~of_table] & is_crumb[piece]
    faces = np.flatnonzero(gone)
    return draft.without(gone).telling(tell_faces(REMOVED_SUPPORT, draft.mesh, faces, np.zeros_like(faces)))


def _inside_corners(draft: Draft) -> IntArray:
    """How many corners of every piece are on no border, (count,)."""
    count, piece = draft.pieces
    owner = np.full(len(draft.mesh.vertices_mm), count)
    owner[draft.mesh.faces] = piece[:, None]
    owner[draft.edges.start[draft.edges.border]] = count
    return np.bincount(owner, minlength=count + 1)[:count]


def _lies_in(draft: Draft, plane: Plane) -> BoolArray:
    """Faces that lie along a plane and in it, (m,)."""
    heights = plane.heights_mm(draft.mesh.vertices_mm)
    found = np.zeros(len(draft.mesh.faces), dtype=bool)
    level = within(draft.mesh.faces, np.abs(heights) < 2.0 * SUPPORT_BAND_MM)
    along = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[level])) @ plane.normal
    found[level[np.abs(along) > LIES_ALONG]] = True
    return found


def _flat_pieces(draft: Draft) -> dict[int, tuple[Plane, float]]:
    """The pieces with a rim that lie in a plane, each with that, looking as its faces do, and with its area in mm2."""
    count, piece = draft.pieces
    has_rim = np.bincount(piece[draft.edges.border // 3], minlength=count) > 0
    vectors = face_vectors_mm2(draft.mesh)
    along = np.column_stack([np.bincount(piece, vectors[:, k], count) for k in range(3)])
    area = np.bincount(piece, draft.areas_mm2, count)
    found = {}
    for k in np.flatnonzero(has_rim & (0.5 * np.linalg.norm(along, axis=1) > FLAT_LOOK * area)).tolist():
        mine = np.flatnonzero(piece == k)
        plane = _plane_of(_corners_mm(draft, piece == k), along[k])
        in_plane = np.abs(plane.heights_mm(draft.mesh.corners_of(mine).mean(axis=1))) < SUPPORT_BAND_MM
        if draft.areas_mm2[mine][in_plane].sum() > FLAT_SHARE * area[k]:
            found[k] = plane, float(area[k])
    return found


def _plane_of(points_mm: Array, towards: Array) -> Plane:
    """The plane that most of some points lie in."""
    plane = fitted_plane(points_mm, towards)
    for _ in range(FITS):
        heights = plane.heights_mm(points_mm)
        level = np.abs(heights - np.median(heights)) < SUPPORT_BAND_MM
        plane = fitted_plane(points_mm[level], plane.normal) if level.sum() > LEAST_CORNERS else plane
    return plane


def _is_level_with(other: Plane, table: Plane) -> bool:
    """Whether a flat piece lies in the table's plane and looks as it does: what was seen of it through a bore, say."""
    return (
        abs(float(table.heights_mm(other.at_mm))) < 2.0 * SUPPORT_BAND_MM and float(other.normal @ table.normal) > ALIKE
    )


def _is_stood_on(plane: Plane, standing_mm: Array) -> bool:
    """Whether nothing lies below a plane, and something well over it; a flange has a side that goes down from it."""
    if len(standing_mm) == 0:
        return False
    heights = _towards(plane, standing_mm).heights_mm(standing_mm)
    lowest = float(np.quantile(heights, STRAY_SHARE))
    return lowest > -2.0 * SUPPORT_BAND_MM and float(heights.max()) > LOWEST_PART_MM


def _reaches_beyond(draft: Draft, mine: BoolArray, plane: Plane, standing_mm: Array) -> bool:
    """Whether a flat piece goes on where nothing stands over it any more."""
    across = np.linalg.svd(plane.normal[None])[2][1:]
    try:
        sides = ConvexHull((standing_mm - plane.at_mm) @ across.T).equations
    except QhullError:
        return False
    faces = np.flatnonzero(mine)
    middles = (draft.mesh.corners_of(faces).mean(axis=1) - plane.at_mm) @ across.T
    off_mm = (middles @ sides[:, :2].T + sides[:, 2]).max(axis=1)
    areas = draft.areas_mm2[faces]
    return bool(areas[off_mm > BEYOND_MM].sum() > BEYOND_SHARE * areas.sum())


def _towards(plane: Plane, standing_mm: Array) -> Plane:
    """The same plane, looking to what stands on it."""
    return plane if np.median(plane.heights_mm(standing_mm)) > 0.0 else plane.turned()


def _corners_mm(draft: Draft, faces: BoolArray) -> Array:
    """The corners of some faces, (n, 3)."""
    return draft.mesh.vertices_mm[marked_once(draft.mesh.faces[faces], len(draft.mesh.vertices_mm))]
