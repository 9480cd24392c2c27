"""Signed distance of points from a closed triangle mesh, exact: positive outside, negative inside.

The nearest point comes from an exact tree of boxes (libigl). The sign is that of the angle-weighted pseudonormal there
(Baerentzen and Aanaes, 2005): the normal of a face, of the two faces at an edge, of all faces at a corner weighed by
their angles. Worked out only where points land, it costs a third of what the whole mesh's pseudonormals do.
"""

from dataclasses import dataclass

import igl
import numpy as np

from verifier.mesh import Array, IntArray, Mesh

# Nearest points within this share of a triangle from its rim count as on the rim: far above rounding (1e-16), and so
# little that the face's own normal would still give the same sign.
ON_RIM = 1e-9
# A triangle so much flatter than long has no normal worth the name; its corners and edges belong to its neighbours too.
LEAST_FLATNESS = 1e-12


@dataclass(frozen=True, slots=True)
class Nearest:
    """What lies nearest to each of n points.

    away_mm : (n,) signed distance, positive outside
    places_mm : (n, 3) the nearest points
    faces : (n,) the faces they lie on
    """

    away_mm: Array
    places_mm: Array
    faces: IntArray


@dataclass(frozen=True, slots=True)
class Searchable:
    """A mesh with the tree its nearest points are found by; made once, asked often.

    sound : (k,) the faces that have an area; normals : (k, 3) theirs
    """

    vertices_mm: Array
    faces: IntArray
    normals: Array
    sound: IntArray
    tree: igl.AABB


def searchable(mesh: Mesh) -> Searchable:
    """Make a closed mesh ready to be asked; triangles without area are passed over.

    Raises ValueError for a mesh without one triangle that has an area.
    """
    sound, normals = _sound_faces(mesh)
    if len(sound) == 0:
        raise ValueError("a mesh without area has no distance")
    faces = np.ascontiguousarray(mesh.faces[sound], dtype=np.int64)
    vertices = np.ascontiguousarray(mesh.vertices_mm, dtype=np.float64)
    tree = igl.AABB()
    tree.init(vertices, faces)
    return Searchable(vertices, faces, normals, sound, tree)


def nearest_on(mesh: Searchable, points_mm: Array) -> Nearest:
    """Exact signed distances of points (n, 3) from a closed mesh."""
    points = np.ascontiguousarray(points_mm, dtype=np.float64)
    square, index, places = mesh.tree.squared_distance(mesh.vertices_mm, mesh.faces, points)
    index = np.asarray(index, dtype=np.int64).ravel()
    outwards = _pseudonormals(mesh.vertices_mm, mesh.faces, mesh.normals, index, places)
    side = np.einsum("nj,nj->n", points - places, outwards)
    away = np.sqrt(np.maximum(np.asarray(square).ravel(), 0.0)) * np.where(side < 0.0, -1.0, 1.0)
    return Nearest(away, np.asarray(places), mesh.sound[index])


def _sound_faces(mesh: Mesh) -> tuple[IntArray, Array]:
    """Faces that have an area, and their unit normals."""
    a, b, c = (mesh.vertices_mm[mesh.faces[:, k]] for k in range(3))
    vectors = np.cross(b - a, c - a)
    twice = np.linalg.norm(vectors, axis=1)
    longest = np.maximum(np.einsum("ij,ij->i", b - a, b - a), np.einsum("ij,ij->i", c - a, c - a))
    sound = np.flatnonzero(twice > LEAST_FLATNESS * longest)
    return sound, vectors[sound] / twice[sound, None]


def _pseudonormals(vertices: Array, faces: IntArray, normals: Array, index: IntArray, places: Array) -> Array:
    """A vector for each nearest point whose sign against the way to the point tells outside from inside, (n, 3)."""
    shares = _shares(vertices, faces[index], places)
    off_rim = shares > ON_RIM
    outwards = normals[index]
    corner = off_rim.sum(axis=1) <= 1
    edge = off_rim.sum(axis=1) == 2
    if corner.any():
        at = faces[index[corner], np.argmax(shares[corner], axis=1)]
        outwards[corner] = _corner_normals(vertices, faces, normals, at)
    if edge.any():
        opposite = np.argmin(shares[edge], axis=1)
        outwards[edge] += _across(faces, normals, index[edge], opposite)
    return outwards


def _shares(vertices: Array, faces: IntArray, places: Array) -> Array:
    """Barycentric shares of places on their triangles, (n, 3)."""
    a, b, c = (vertices[faces[:, k]] for k in range(3))
    ab, ac, ap = b - a, c - a, places - a
    bb, bc, cc = (np.einsum("nj,nj->n", u, v) for u, v in ((ab, ab), (ab, ac), (ac, ac)))
    pb, pc = (np.einsum("nj,nj->n", ap, v) for v in (ab, ac))
    whole = np.maximum(bb * cc - bc * bc, 1e-300)
    v, w = (cc * pb - bc * pc) / whole, (bb * pc - bc * pb) / whole
    return np.stack([1.0 - v - w, v, w], axis=1)


def _corner_normals(vertices: Array, faces: IntArray, normals: Array, at: IntArray) -> Array:
    """Normals of the faces round each corner asked for, each weighed by its angle there, (k, 3)."""
    wanted = np.zeros(len(vertices), dtype=bool)
    wanted[at] = True
    face, place = np.nonzero(wanted[faces])
    here = vertices[faces[face, place]]
    ahead, back = (vertices[faces[face, (place + step) % 3]] - here for step in (1, 2))
    sine = np.linalg.norm(np.cross(ahead, back), axis=1)
    angle = np.arctan2(sine, np.einsum("nj,nj->n", ahead, back))
    number = np.cumsum(wanted) - 1
    sums = _sums(number[faces[face, place]], angle[:, None] * normals[face], int(wanted.sum()))
    return np.asarray(sums[number[at]])


def _sums(group: IntArray, rows: Array, count: int) -> Array:
    return np.stack([np.bincount(group, column, minlength=count) for column in rows.T], axis=1)


def _across(faces: IntArray, normals: Array, index: IntArray, opposite: IntArray) -> Array:
    """Normal of the face beyond the edge that lies opposite a corner, (k, 3); nought where there is none."""
    count = int(faces.max()) + 1
    start, end = (faces[index, (opposite + step) % 3] for step in (1, 2))
    # Beyond a shared edge the neighbour runs the other way.
    asked = end * count + start
    keys, back = np.unique(asked, return_inverse=True)
    touched = _touching(faces, start, count)
    ends = [faces[touched, k] * count + faces[touched, (k + 1) % 3] for k in range(3)]
    found = np.full(len(keys), -1)
    for key in ends:
        place = np.minimum(np.searchsorted(keys, key), len(keys) - 1)
        match = keys[place] == key
        found[place[match]] = touched[match]
    beyond = found[back]
    return np.where(beyond[:, None] >= 0, normals[beyond], 0.0)


def _touching(faces: IntArray, corners: IntArray, count: int) -> IntArray:
    """Faces with one of the corners."""
    chosen = np.zeros(count, dtype=bool)
    chosen[corners] = True
    return np.flatnonzero(chosen[faces].any(axis=1))
