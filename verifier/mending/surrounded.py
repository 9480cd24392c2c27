"""Patches in the middle of a hole: which pieces a rim goes all round, in their own plane."""

import numpy as np
from scipy.spatial import cKDTree

from verifier.mending.draft import Draft
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals, face_vectors_mm2

# How far from a patch the rim around it may be: half the widest hole that is led on over curved surface.
REACH_MM = 6.5
# The rim lies in the patch's own plane within what two passes lie apart (0.1 to 0.3 mm, common practice, no source) and
# this share of the distance, by which a round of 10 mm radius falls off over 4 mm.
APART_MM = 0.35
FALL = 0.2
# Cosine of 60 degrees, as for the layers of two passes.
SAME_WAY = 0.5
# Seen from the patch the rim has no gap as wide as this: a patch beside a hole sees half of its rim at most.
WIDEST_GAP_DEG = 120.0
# A rim has at least so many corners.
LEAST_CORNERS = 6


def inside_holes(draft: Draft, piece: IntArray, asked: BoolArray, loose: BoolArray) -> IntArray:
    """Which pieces lie within a hole of those that are not loose: 1 looking the same way, -1 the other, 0 not at all.

    piece : (m,) the piece of every face; asked, loose : (count,) which pieces are asked about, and which have no rim
    """
    side = np.zeros(len(asked), dtype=np.int64)
    border = draft.edges.border
    rim = border[~loose[piece[border // 3]]]
    if not asked.any() or len(rim) == 0:
        return side
    rim_mm = draft.mesh.vertices_mm[draft.edges.start[rim]]
    looking = face_normals(Mesh(draft.mesh.vertices_mm, draft.mesh.faces[rim // 3]))
    order = np.argsort(piece, kind="stable")
    groups = np.split(order, np.cumsum(np.bincount(piece, minlength=len(asked)))[:-1])
    tree = cKDTree(rim_mm)
    for k in np.flatnonzero(asked).tolist():
        patch = Mesh(draft.mesh.vertices_mm, draft.mesh.faces[groups[k]])
        near = np.array(tree.query_ball_point(patch.corners_mm.mean(axis=(0, 1)), REACH_MM), dtype=np.int64)
        if len(near):
            side[k] = _way_within(patch, rim_mm[near], looking[near])
    return side


def _way_within(patch: Mesh, rim_mm: Array, looking: Array) -> int:
    """1 or -1 where the rim goes all round the patch in its own plane, looking as it does or the other way; else 0."""
    middle, total = patch.corners_mm.mean(axis=(0, 1)), face_vectors_mm2(patch).sum(axis=0)
    normal = total / max(float(np.linalg.norm(total)), 1e-12)
    away = rim_mm - middle
    height = away @ normal
    flat = away - height[:, None] * normal
    off_mm = np.linalg.norm(flat, axis=1)
    way = looking @ normal
    around = (np.abs(height) < APART_MM + FALL * off_mm) & (np.abs(way) > SAME_WAY)
    reach_mm = np.linalg.norm(patch.corners_mm.reshape(-1, 3) - middle, axis=1).max()
    if around.sum() < LEAST_CORNERS or off_mm[around].min() < 0.5 * reach_mm:
        return 0
    across = np.linalg.svd(normal[None])[2][1:]
    angle = np.sort(np.degrees(np.arctan2(*(flat[around] @ across.T).T)))
    if np.diff(np.r_[angle, angle[:1] + 360.0]).max() > WIDEST_GAP_DEG:
        return 0
    return 1 if way[around].sum() > 0 else -1
