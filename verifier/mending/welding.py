"""Corners that are one place become one corner. Nothing is moved: a weld keeps the corner that came first."""

import numpy as np

from verifier.mending.draft import Draft
from verifier.mending.solid import MendStep, Origin
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, IntArray, Mesh, drop_unused_vertices

# The file's numbers are compared as 32-bit floats: that is what a binary STL holds, so two corners that are equal then
# are one corner to whoever reads the mended file.
MIX = tuple(np.uint64(k) for k in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xBF58476D1CE4E5B9))


def weld_equal(mesh: Mesh) -> Draft:
    """Weld corners that are equal as 32-bit floats; faces that lose a corner by it are dropped and told."""
    first, new_number = equal_corners(mesh.vertices_mm)
    faces = new_number[mesh.faces]
    welded = len(mesh.vertices_mm) - len(first)
    collapsed = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    shared = Mesh(mesh.vertices_mm[first], faces)
    steps = (
        MendStep("Welded corners", welded, 0.0),
        tell_faces("Dropped faces without area", shared, np.flatnonzero(collapsed)),
    )
    kept = drop_unused_vertices(Mesh(shared.vertices_mm, faces[~collapsed]) if collapsed.any() else shared)
    return Draft(kept, np.full(len(kept.faces), Origin.MEASURED, dtype=np.uint8)).telling(*steps)


def drop_doubled_faces(draft: Draft) -> Draft:
    """Keep one of several faces over the same three corners. A doubled face always makes an edge faulty."""
    twin = draft.edges.twin
    faulty = twin < 0
    disagreeing = draft.edges.disagreeing()
    faulty[disagreeing] = faulty[twin[disagreeing]] = True
    suspects = np.flatnonzero(faulty.reshape(-1, 3).any(axis=1))
    corners = np.sort(draft.mesh.faces[suspects], axis=1)
    _, first = np.unique(corners, axis=0, return_index=True)
    doubled = np.setdiff1d(suspects, suspects[first])
    dropped = np.zeros(len(draft.mesh.faces), dtype=bool)
    dropped[doubled] = True
    return draft.without(dropped).telling(tell_faces("Dropped doubled faces", draft.mesh, doubled))


def equal_corners(points_mm: Array) -> tuple[IntArray, IntArray]:
    """Number of the first corner at every different place, in order, and the new number of every corner."""
    bits = (points_mm.astype(np.float32) + np.float32(0.0)).view(np.uint32)  # adding zero makes -0.0 into 0.0
    order, starts = _sorted_by_place(bits)
    group = np.cumsum(starts) - 1
    first_of_group = order[starts]
    rank = np.empty(len(first_of_group), dtype=np.int64)
    first = np.sort(first_of_group)
    rank[np.argsort(first_of_group, kind="stable")] = np.arange(len(first))
    new_number = np.empty(len(points_mm), dtype=np.int64)
    new_number[order] = rank[group]
    return first, new_number


def _sorted_by_place(bits: np.ndarray) -> tuple[IntArray, np.ndarray]:
    """Corners in an order that puts equal places together, lowest number first, and where a new place begins.

    One sort of 64-bit numbers: a hash of the place above, the corner's number below. Three times as fast as sorting
    rows of three; should two places share a hash, the rows are sorted after all.
    """
    index_bits = max(1, int(len(bits) - 1).bit_length()) if len(bits) else 1
    shift = np.uint64(index_bits)
    packed = np.sort(((_hash(bits) >> shift) << shift) | np.arange(len(bits), dtype=np.uint64))
    order = (packed & ((np.uint64(1) << shift) - np.uint64(1))).astype(np.int64)
    hash_changes = np.r_[True, (packed[1:] >> shift) != (packed[:-1] >> shift)]
    place_changes = _changes(bits[order])
    if not np.array_equal(hash_changes, place_changes):
        order = np.lexsort((bits[:, 2], bits[:, 1], bits[:, 0])).astype(np.int64)
        place_changes = _changes(bits[order])
    return order, place_changes


def _hash(bits: np.ndarray) -> np.ndarray:
    mixed = bits[:, 0] * MIX[0] ^ bits[:, 1] * MIX[1] ^ bits[:, 2] * MIX[2]
    mixed = (mixed ^ (mixed >> np.uint64(29))) * MIX[3]
    mixed ^= mixed >> np.uint64(32)
    return np.asarray(mixed * MIX[0])


def _changes(rows: np.ndarray) -> np.ndarray:
    return np.r_[True, (rows[1:] != rows[:-1]).any(axis=1)] if len(rows) else np.empty(0, dtype=bool)
