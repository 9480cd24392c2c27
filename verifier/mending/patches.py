"""Small patches that another pass saw and the first did not: too small to be a part, too well placed to be debris."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.draft import Draft
from verifier.mending.meeting_boxes import may_be_beside
from verifier.mending.surrounded import inside_holes
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals, touching

# A patch of another pass comes this near to the rim it covers: two passes of a handheld scanner lie 0.1 to 0.3 mm apart
# (common practice, no source), and each ends in ragged faces, a spacing more.
NEAR_MM = 0.35
# Corners of a rim that a patch must come near to; a crumb beside a hole comes near to two or three.
LEAST_CORNERS = 6
# Cosine of 60 degrees, as for the layers of two passes.
SAME_WAY = 0.5


def beside_rims(draft: Draft, piece: IntArray, asked: BoolArray) -> IntArray:
    """How each piece lies along the rims of pieces not asked about: 1 looking the same way, -1 the other, 0 not at all.

    A piece in the middle of a hole counts too, though the rim be some millimetres off.

    piece : (m,) the piece of every face
    asked : (count,) which pieces are asked about; of these, closed ones and ragged strips lie along nothing
    """
    border = draft.edges.border
    is_open = np.bincount(piece[border // 3], minlength=len(asked)) > 0
    asked_open = asked & is_open & pieces_with_inside(draft.mesh.faces, draft.edges.start[border], piece, len(asked))
    rim = border[~asked[piece[border // 3]]]
    if not asked_open.any() or len(rim) == 0:
        return np.zeros(len(asked), dtype=np.int64)
    faces = np.flatnonzero(asked_open[piece])
    rim_mm, middles_mm = draft.mesh.vertices_mm[draft.edges.start[rim]], draft.mesh.corners_of(faces).mean(axis=1)
    reach_mm = NEAR_MM + _across_mm(draft, faces)
    may_be = may_be_beside(middles_mm, rim_mm, reach_mm)  # a tree of all of them takes ten times as long
    faces = faces[may_be]
    away, nearest = cKDTree(middles_mm[may_be]).query(rim_mm, distance_upper_bound=reach_mm)
    near = np.isfinite(away)
    beside = faces[nearest[near]]
    looking, along_rim = (
        face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[k])) for k in (beside, rim[near] // 3)
    )
    way = np.einsum("qx,qx->q", looking, along_rim)
    same, other = (np.bincount(piece[beside[sign * way > SAME_WAY]], minlength=len(asked)) for sign in (1, -1))
    along = np.where(same + other >= LEAST_CORNERS, np.where(same >= other, 1, -1), 0)
    return along + inside_holes(draft, piece, asked_open & (along == 0), asked)


def pieces_with_inside(faces: IntArray, on_border: IntArray, piece: IntArray, count: int) -> BoolArray:
    """Which of `count` pieces have a corner that is not on a border.

    on_border : numbers of the corners on borders
    """
    inside = np.ones(int(faces.max(initial=-1)) + 1, dtype=bool)
    inside[on_border] = False
    return np.asarray(np.bincount(piece[touching(faces, inside)], minlength=count) > 0)


def _across_mm(draft: Draft, faces: IntArray) -> float:
    """Middle length of a side of the faces."""
    corners: Array = draft.mesh.corners_of(faces)
    return float(np.median(np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)))
