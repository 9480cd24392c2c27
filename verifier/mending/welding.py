"""Corners that are one place become one corner. Nothing is moved: a weld keeps the corner that came first."""

import numpy as np
from numpy.typing import NDArray

from verifier.mending.draft import Draft
from verifier.mending.solid import MendStep, Origin
from verifier.mending.telling import tell_faces
from verifier.mesh import FACES_AT_ONCE, Array, IntArray, Mesh, drop_unused_vertices

# The file's numbers are compared as 32-bit floats: that is what a binary STL holds, so two corners that are equal then
# are one corner to whoever reads the mended file.
MIX = tuple(np.uint64(k) for k in (0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0xBF58476D1CE4E5B9))

Bits = NDArray[np.uint32]


def weld_equal(mesh: Mesh) -> Draft:
    """Weld corners that are equal as 32-bit floats; faces that lose a corner by it are dropped and told."""
    first, new_number = equal_corners(mesh.vertices_mm)
    faces = np.take(new_number, mesh.faces)
    welded = len(mesh.vertices_mm) - len(first)
    collapsed = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    shared = Mesh(np.take(mesh.vertices_mm, first, axis=0), faces)
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
    leader = _leaders(_bits(points_mm))
    leads = leader == np.arange(len(leader))
    rank = np.cumsum(leads) - 1
    return np.flatnonzero(leads), np.take(rank, leader)


def _bits(points_mm: Array) -> Bits:
    """The corners as 32-bit floats, a row for each axis: (3, n)."""
    written = np.empty((3, len(points_mm)), dtype=np.float32)
    for axis in range(3):
        written[axis] = points_mm[:, axis]
    written += np.float32(0.0)  # makes -0.0 into 0.0
    return written.view(np.uint32)


def _leaders(bits: Bits) -> IntArray:
    """For every corner the first one in the same place, (n,).

    One sort of 64-bit numbers: a hash of the place above, the corner's number below; three times as fast as sorting
    rows of three. Corners whose place is not that of the first with their hash are compared by themselves: at four
    million triangles there are some.
    """
    count = bits.shape[1]
    shift = np.uint64(max(1, (count - 1).bit_length()))
    packed = _hash_and_number(bits, shift)
    packed.sort()
    order = (packed & ((np.uint64(1) << shift) - np.uint64(1))).view(np.int64)
    packed >>= shift
    first = np.flatnonzero(np.r_[True, packed[1:] != packed[:-1]][:count])
    leader = np.empty(count, dtype=np.int64)
    leader[order] = np.repeat(order[first], np.diff(np.r_[first, count]))
    is_other = np.zeros(count, dtype=bool)
    for row in bits:
        is_other |= np.take(row, leader) != row
    others = np.flatnonzero(is_other)
    if len(others):
        _, lead, place = np.unique(bits[:, others], axis=1, return_index=True, return_inverse=True)
        leader[others] = others[lead[place.reshape(-1)]]
    return leader


def _hash_and_number(bits: Bits, shift: np.uint64) -> NDArray[np.uint64]:
    """For every corner its place's hash above, its number in the lowest bits; some at a time, as in verifier.mesh."""
    packed = np.arange(bits.shape[1], dtype=np.uint64)
    for first in range(0, len(packed), FACES_AT_ONCE):
        some = slice(first, first + FACES_AT_ONCE)
        packed[some] |= (_hash(bits[:, some]) >> shift) << shift
    return packed


def _hash(bits: Bits) -> NDArray[np.uint64]:
    mixed = np.zeros(bits.shape[1], dtype=np.uint64)
    for row, factor in zip(bits, MIX[:3], strict=True):
        mixed ^= row * factor
    mixed ^= mixed >> np.uint64(29)
    mixed *= MIX[3]
    mixed ^= mixed >> np.uint64(32)
    mixed *= MIX[0]
    return mixed
