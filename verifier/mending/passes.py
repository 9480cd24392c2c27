"""Several passes of one scan that were not merged: where they lie on each other, one of them is kept.

      first pass    ________________                    ________________
                            ________________     ->                      ________
      second pass           overlap                                      what only it saw

Averaging the two would move every corner of the overlap; repairing both as one surface makes a sponge.
"""

from dataclasses import dataclass

import igl
import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.edges import Edges, pair_edges, piece_of_faces
from verifier.mending.meeting_boxes import may_come_near
from verifier.mending.patches import pieces_with_inside
from verifier.mending.telling import tell_faces
from verifier.mesh import (
    Array,
    BoolArray,
    IntArray,
    Mesh,
    face_normals,
    faces_meeting,
    own_corners,
    touching,
    within,
)

# Surfaces nearer than this that look the same way are one surface seen twice: passes of a handheld scanner come to lie
# 0.1 to 0.3 mm apart (common practice, no source). No moulded part has two such surfaces that close: a wall and its
# back look opposite ways.
REGISTER_MM = 0.35
# Cosine of 60 degrees. At an edge of the part the normal of a corner stands half-way between two faces, 45 degrees off
# each.
SAME_WAY = 0.5
# A pass with this share of the largest one's surface is as large: scatter, rounding and a few holes make more of a
# difference between two passes that both saw the whole part.
ALIKE_SHARE = 0.98


@dataclass(frozen=True, slots=True)
class Nearest:
    """The places on one surface nearest to some points.

    distance_mm : (q,)
    sideways_mm : (q,) how far the point lies beside the border where that is nearest, 0 over the surface itself
    way : (q,) cosine between the surface's normal there and the one asked for
    """

    distance_mm: Array
    sideways_mm: Array
    way: Array


def drop_second_layers(draft: Draft) -> Draft:
    """Of pieces that lie on each other and look the same way, keep the larger; of the others what lies beside it.

    Of pieces as large as the largest the first in the file counts as the larger. What is kept ends one spacing beside
    the larger piece, so that their borders can be joined. Corners keep their places. Ragged ends without a corner
    inside go too.
    """
    count, piece = draft.pieces
    if count == 1:
        return draft
    area = np.bincount(piece, draft.areas_mm2, count)
    dropped = np.zeros(len(piece), dtype=bool)
    first = int(piece[(area > ALIKE_SHARE * area.max())[piece].argmax()])
    kept = piece == first
    for k in np.argsort(-area, kind="stable").tolist():
        if k == first:
            continue
        mine = np.flatnonzero(piece == k)
        doubled = lying_on(draft, mine, kept)
        if doubled.any():
            dropped[mine[doubled]] = True
            dropped[mine[~doubled]] = _crumbs(draft.mesh.faces[mine[~doubled]], draft.mesh)
        kept[mine] = ~dropped[mine]
    faces = np.flatnonzero(dropped)
    return draft.without(dropped).telling(tell_faces("Dropped a second layer", draft.mesh, faces, piece[faces]))


def lying_on(draft: Draft, mine: IntArray, kept: BoolArray) -> BoolArray:
    """Which faces of a piece have a corner that lies on the kept surface, or beside its border within a spacing."""
    mesh = draft.mesh
    own, faces = own_corners(mesh.faces[mine], len(mesh.vertices_mm))
    points = mesh.vertices_mm[own]
    spacing_mm = _spacing_mm(points, faces)
    reach_mm = REGISTER_MM + spacing_mm
    low, high = points.min(axis=0) - reach_mm, points.max(axis=0) + reach_mm
    others = faces_meeting(mesh, np.flatnonzero(kept), low, high)
    asked = np.flatnonzero(may_come_near(points, Mesh(mesh.vertices_mm, mesh.faces[others]), reach_mm))
    if len(asked) == 0:
        return np.zeros(len(mine), dtype=bool)
    found = _nearest(draft, others, points[asked], _corner_normals(Mesh(points, faces))[asked])
    same = (found.distance_mm < reach_mm) & (found.way > SAME_WAY)
    over, beside = np.zeros((2, len(points)), dtype=bool)
    over[asked] = same & (found.sideways_mm == 0.0) & (found.distance_mm < REGISTER_MM)
    if len(within(faces, over)) == 0:
        return np.zeros(len(mine), dtype=bool)
    beside[asked] = same & (found.sideways_mm > 0.0) & (found.sideways_mm < spacing_mm)
    return touching(faces, over | beside)


def _nearest(draft: Draft, others: IntArray, points_mm: Array, normals: Array) -> Nearest:
    """Where the chosen faces are nearest to some points, by libigl's tree of boxes."""
    mesh = draft.mesh
    corners, faces = own_corners(mesh.faces[others], len(mesh.vertices_mm))
    there = Mesh(mesh.vertices_mm[corners], faces)
    square, face, foot = igl.point_mesh_squared_distance(points_mm, there.vertices_mm, there.faces)
    share = _shares(there.corners_of(face), foot)
    normal = np.einsum("qc,qcx->qx", share, _corner_normals(there)[there.faces[face]])
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    away = points_mm - foot
    beside = np.linalg.norm(away - np.einsum("qx,qx->q", away, normal)[:, None] * normal, axis=1)
    at_border = _on_border(draft.edges, others[face], share)
    way = np.einsum("qx,qx->q", normal, normals)
    return Nearest(np.sqrt(square), np.where(at_border, np.maximum(beside, 1e-9), 0.0), way)


def _on_border(edges: Edges, faces: IntArray, share: Array) -> BoolArray:
    """Whether a place in a face, given by its corners' shares, lies on a side with nothing beyond it."""
    opposite = np.column_stack([share[:, 2], share[:, 0], share[:, 1]])  # side k runs from corner k to corner k + 1
    is_border = edges.twin.reshape(-1, 3)[faces] < 0
    return np.asarray((is_border & (opposite < 1e-6)).any(axis=1))


def _shares(corners_mm: Array, at_mm: Array) -> Array:
    """Barycentric coordinates of places in triangles, (q, 3)."""
    a, b, c = (corners_mm[:, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    square = np.maximum(np.einsum("qx,qx->q", normal, normal), 1e-300)
    by_b = np.einsum("qx,qx->q", np.cross(at_mm - a, c - a), normal) / square
    by_c = np.einsum("qx,qx->q", np.cross(b - a, at_mm - a), normal) / square
    return np.column_stack([1.0 - by_b - by_c, by_b, by_c])


def _corner_normals(mesh: Mesh) -> Array:
    """Mean of the normals of the faces at every corner, each counting alike; (n, 3)."""
    normals, count = face_normals(mesh), len(mesh.vertices_mm)
    corners = mesh.faces.ravel()
    total = np.column_stack([np.bincount(corners, np.repeat(normals[:, k], 3), count) for k in range(3)])
    return np.asarray(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12))


def _spacing_mm(points_mm: Array, faces: IntArray) -> float:
    """Middle length of a side."""
    return float(np.median(np.linalg.norm(points_mm[faces[:, 0]] - points_mm[faces[:, 1]], axis=1)))


def _crumbs(faces: IntArray, mesh: Mesh) -> BoolArray:
    """Faces of pieces without a corner that faces surround on all sides: ragged ends, and no patch."""
    if len(faces) == 0:
        return np.zeros(0, dtype=bool)
    edges = pair_edges(faces, len(mesh.vertices_mm))
    count, piece = piece_of_faces(edges)
    return np.asarray(~pieces_with_inside(faces, edges.start[edges.border], piece, count)[piece])
