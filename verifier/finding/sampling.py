"""A coarse net as the surface it is: long edges cut on a working copy, with normals that turn across round walls."""

from dataclasses import dataclass

import numpy as np

from verifier.finding.doubt import evenly
from verifier.mending.edges import components, pair_edges
from verifier.mesh import Array, BoolArray, IntArray, Mesh, crossed, face_vectors_mm2, marked_once

# A handheld scan has points 0.1 to 0.8 mm apart, the diagonals of its net under 1.2 mm. Where a tenth of the surface
# lies in triangles with an edge over 1.5 mm, corners no longer stand for the surface.
LONG_MM, LONG_SHARE = 1.5, 0.1
LOOKED_AT = 20_000
# Cut to this length the faces of a 3 mm bore hold points as near as those of a good scan.
FINEST_MM = 0.4
MOST_TRIANGLES, AIMED_TRIANGLES = 300_000, 200_000
# Cutting in halves gives triangles of about this share of a square on the greatest edge.
SHARE_OF_SQUARE = 0.22
MOST_PASSES = 16
# Facets that meet at less than this are taken for one curved wall: a round of twelve sides or more.
SMOOTH_DEG = 32.0
COPLANAR_DEG = 0.5


@dataclass(frozen=True, slots=True)
class Sampled:
    """A working copy of a coarse mesh.

    mesh : the copy, its first corners those of the solid
    parent : (k,) the solid's face each of its faces lies in
    vectors_mm2 : (k, 3) twice the area of each face along the smooth normal at its middle
    chord_mm : (n,) how far a round wall may lie off the facet beneath each point
    facet : (n,) a face of the solid on which each point lies; share : (n, 3) of that face's corners, adding up to one
    """

    mesh: Mesh
    parent: IntArray
    vectors_mm2: Array
    chord_mm: Array
    facet: IntArray
    share: Array


def is_coarse(mesh: Mesh, measured: BoolArray) -> bool:
    """Whether much of what was measured lies in triangles with edges over 1.5 mm."""
    chosen = np.flatnonzero(measured)
    few = chosen[evenly(len(chosen), LOOKED_AT)]
    if len(few) == 0:
        return False
    corners = np.take(mesh.vertices_mm, mesh.faces[few], axis=0)
    edges = np.roll(corners, -1, axis=1) - corners
    area = np.linalg.norm(crossed(edges[:, 0], edges[:, 1]), axis=1)
    long = np.linalg.norm(edges, axis=2).max(axis=1) > LONG_MM
    return bool(area[long].sum() > LONG_SHARE * area.sum())


def sampled(mesh: Mesh) -> Sampled:
    """The mesh with long edges cut, at most about 300 thousand triangles.

    Cut points lie on the facets, so that flats stay where they are. A facet's normals are blended from those at its
    corners, which take in the facets beside it that meet it at less than 32 degrees, each by its area.
    """
    corner_normals = _corner_normals(mesh)
    total = float(np.linalg.norm(face_vectors_mm2(mesh), axis=1).sum()) / 2.0
    greatest = max(FINEST_MM, float(np.sqrt(total / (SHARE_OF_SQUARE * AIMED_TRIANGLES))))
    copy, parent, share = _cut(mesh, greatest)
    of_parent = corner_normals if len(parent) == len(mesh.faces) else corner_normals[parent]
    normals = _unit(np.einsum("kc,kcj->kj", share.mean(axis=1), of_parent))
    double_area = np.linalg.norm(face_vectors_mm2(copy), axis=1)
    chord = np.zeros(len(copy.vertices_mm))
    np.maximum.at(chord, copy.faces, _chords_mm(mesh, corner_normals)[parent][:, None])
    facet, at = np.zeros(len(copy.vertices_mm), dtype=np.int64), np.zeros((len(copy.vertices_mm), 3))
    facet[copy.faces], at[copy.faces] = parent[:, None], share
    return Sampled(copy, parent, normals * double_area[:, None], chord, facet, at)


def _cut(mesh: Mesh, greatest_mm: float) -> tuple[Mesh, IntArray, Array]:
    """All edges cut in halves until none is longer, or the copy is full: mesh, parents, shares of their corners."""
    points, faces = mesh.vertices_mm, mesh.faces
    parent, share = np.arange(len(faces)), np.broadcast_to(np.eye(3), (len(faces), 3, 3))
    for _ in range(MOST_PASSES):
        if len(faces) >= MOST_TRIANGLES:
            break
        edges, edge_of = _edges(faces, len(points))
        long = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1) > greatest_mm
        grows = int(long[edge_of].sum())
        if grows == 0 or len(faces) + grows > MOST_TRIANGLES:
            break
        new = np.full(len(edges), -1)
        new[long] = len(points) + np.arange(int(long.sum()))
        points = np.concatenate([points, points[edges[long]].mean(axis=1)])
        faces, parent, share = _halved(points, faces, parent, share, new[edge_of])
    return Mesh(points, faces), parent, share


def _edges(faces: IntArray, count: int) -> tuple[IntArray, IntArray]:
    """Edges once each, (e, 2), and which of them is the one after each corner of each face, (k, 3)."""
    start, end = faces.ravel().astype(np.int64), faces[:, [1, 2, 0]].ravel().astype(np.int64)
    keys, edge_of = np.unique(np.minimum(start, end) * count + np.maximum(start, end), return_inverse=True)
    return np.stack([keys // count, keys % count], axis=1), edge_of.reshape(-1, 3)


def _halved(
    points: Array, faces: IntArray, parent: IntArray, share: Array, middle: IntArray
) -> tuple[IntArray, IntArray, Array]:
    """Each face in as many parts as its cut edges ask.

    middle : (k, 3) the new point on the edge after each corner, -1 where it stays whole
    """
    cuts = (middle >= 0).sum(axis=1)
    # Six places of a face: its corners, then the middles of its edges.
    six = np.concatenate([faces, middle], axis=1)
    six_share = np.concatenate([share, 0.5 * (share + np.roll(share, -1, axis=1))], axis=1)
    made: list[tuple[IntArray, IntArray, Array]] = []

    def make(chosen: IntArray, first: IntArray, parts: tuple[tuple[int, int, int], ...]) -> None:
        for part in parts:
            # Places are told as if the face began at its corner `first`.
            at = np.stack([(p % 3 + first) % 3 + 3 * (p // 3) for p in part], axis=1)
            rows = chosen[:, None]
            made.append((six[rows, at], parent[chosen], six_share[rows, at]))

    whole, one, two, three = (np.flatnonzero(cuts == k) for k in range(4))
    make(whole, np.zeros_like(whole), ((0, 1, 2),))
    make(one, middle[one].argmax(axis=1), ((0, 3, 2), (3, 1, 2)))
    make(three, np.zeros_like(three), ((0, 3, 5), (3, 1, 4), (5, 4, 2), (3, 4, 5)))
    # The edge after corner 0 stays whole; of the four-sided rest the shorter diagonal is drawn.
    first = middle[two].argmin(axis=1)
    corner = points[six[two[:, None], np.stack([first, (first + 1) % 3], axis=1)]]
    across = points[six[two[:, None], np.stack([3 + (first + 1) % 3, 3 + (first + 2) % 3], axis=1)]]
    short = np.linalg.norm(corner - across, axis=2)
    near = short[:, 0] <= short[:, 1]
    make(two[near], first[near], ((4, 2, 5), (0, 1, 4), (0, 4, 5)))
    make(two[~near], first[~near], ((4, 2, 5), (0, 1, 5), (1, 4, 5)))
    new_faces, new_parent, new_share = (np.concatenate(column) for column in zip(*made, strict=True))
    return new_faces, new_parent, new_share


def _corner_normals(mesh: Mesh) -> Array:
    """Unit normal at each corner of each face, (m, 3, 3): the mean of the facets that meet smoothly there.

    A facet counts by the area of all that is coplanar with it, times its angle at the corner, so that a flat keeps
    its normal where a round wall of narrow facets runs into it.
    """
    vectors = face_vectors_mm2(mesh)
    unit, area = _unit(vectors), 0.5 * np.linalg.norm(vectors, axis=1)
    edges = pair_edges(mesh.faces, len(mesh.vertices_mm))
    here = edges.paired
    there = edges.twin[here]
    bend = np.arccos(np.clip(np.einsum("ij,ij->i", unit[here // 3], unit[there // 3]), -1.0, 1.0))
    flat = bend < np.radians(COPLANAR_DEG)
    facet_area = _joined_areas_mm2(area, here[flat] // 3, there[flat] // 3)
    weight = (facet_area[:, None] * _angles_rad(mesh)).ravel()
    wedge = _wedges(mesh, here, there, bend < np.radians(SMOOTH_DEG))
    summed = [np.bincount(wedge, np.repeat(axis, 3) * weight) for axis in unit.T]
    mean = _unit(np.stack(summed, axis=1, dtype=np.float64))
    return np.asarray(np.take(mean, wedge, axis=0).reshape(-1, 3, 3))


def _unit(vectors: Array) -> Array:
    """Each row as long as one; rows of nothing stay nothing."""
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0))


def _joined_areas_mm2(area_mm2: Array, first: IntArray, second: IntArray) -> Array:
    """The area of all that hangs together with each face, (m,), given pairs of faces that do."""
    joined = area_mm2.copy()
    some = marked_once(np.concatenate([first, second]), len(area_mm2))
    place = np.empty(len(area_mm2), dtype=np.int64)
    place[some] = np.arange(len(some))
    facet = components(len(some), place[first], place[second])[1]
    joined[some] = np.bincount(facet, area_mm2[some])[facet]
    return joined


def _wedges(mesh: Mesh, here: IntArray, there: IntArray, smooth: BoolArray) -> IntArray:
    """Which wedge each corner of each face belongs to, (3 m,): faces round a corner that meet one another smoothly.

    here, there : the two half-edges of each edge; smooth : whether the faces meet smoothly at it
    Where all do, the wedge is all that meets at the corner, as nearly everywhere on a scan; only the rest is looked at.
    """
    corner, count = mesh.faces.ravel(), len(mesh.vertices_mm)
    creased = np.zeros(count, dtype=bool)
    for half in (here, there):
        creased[corner[half[~smooth]]] = True
    some = np.flatnonzero(creased[corner])
    place = np.full(len(corner), -1)
    place[some] = np.arange(len(some))
    # Neighbours run along their edge opposite ways: where one begins the other ends.
    begins = np.concatenate([here[smooth], there[smooth]])
    ends = np.concatenate([there[smooth], here[smooth]])
    ends = np.where(ends % 3 == 2, ends - 2, ends + 1)
    both = place[begins] >= 0
    wedge = corner.copy()
    wedge[some] = count + components(len(some), place[begins[both]], place[ends[both]])[1]
    return wedge


def _angles_rad(mesh: Mesh) -> Array:
    """Angle of each face at each corner, (m, 3)."""
    sine = np.linalg.norm(face_vectors_mm2(mesh), axis=1)  # twice the area: one and the same at each corner
    sides = _sides_mm(mesh)
    cosine = (-np.einsum("ij,ij->i", sides[k], sides[k - 1]) for k in range(3))
    return np.stack([np.arctan2(sine, each) for each in cosine], axis=1)


def _sides_mm(mesh: Mesh) -> list[Array]:
    """The sides of the faces, each from one corner to the next, (m, 3) one after another."""
    at = [np.take(mesh.vertices_mm, mesh.faces[:, k], axis=0) for k in range(3)]
    return [at[(k + 1) % 3] - at[k] for k in range(3)]


def _chords_mm(mesh: Mesh, corner_normals: Array) -> Array:
    """Height of the arc over each face's edges, the greatest of three, (m,): edge x turn of the normals / 8."""
    turns = (corner_normals[:, (k + 1) % 3] - corner_normals[:, k] for k in range(3))
    arcs = [np.abs(np.einsum("ij,ij->i", side, turn)) for side, turn in zip(_sides_mm(mesh), turns, strict=True)]
    return np.asarray(np.maximum(np.maximum(arcs[0], arcs[1]), arcs[2]) / 8.0)
