"""One scan in the joined part's frame, and of it the patch that another scan may have seen too."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import sparse
from scipy.spatial import cKDTree

from verifier.joining.abreast import abreast
from verifier.joining.laid_together import placed
from verifier.joining.posed import Posed
from verifier.mending.edges import Edges, components, pair_edges
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2, touching

# Normals, spacings and leads of corners are averaged with their neighbours' so often: scatter of a tenth of the spacing
# turns single normals by 10 to 20 degrees, and averaging twice leaves a third of that.
ROUNDS = 2
# A border of fewer edges is a fault of the mesh, and no end of what was seen.
LEAST_RIM = 16
# Of the edges of a scan this share is shorter than what its cells are made for.
MOST_EDGES = 0.98


@dataclass(frozen=True)
class Layer:
    """A scan's surface and its patch near other scans.

    mesh : less what was trimmed, corners shared, in the joined part's frame
    near : (p,) the faces of the patch; corners : (q,) its corners, by their numbers in the mesh
    patch : the same faces over those corners alone
    edges : of the patch
    inner : (q,) corners all of whose faces are in the patch
    way_mm2 : (3,) vector area against all area: which way it looks, and how much one way
    """

    mesh: Mesh
    near: IntArray
    corners: IntArray
    patch: Mesh
    edges: Edges
    inner: BoolArray
    way: Array

    @cached_property
    def vectors_mm2(self) -> Array:
        """Normals of the patch's faces, as long as twice their area."""
        return face_vectors_mm2(self.patch)

    @cached_property
    def mean_of_neighbours(self) -> sparse.csr_matrix:
        """(q, q) that averages a figure of every corner with its neighbours'."""
        count = len(self.corners)
        start, end = self.edges.start, self.edges.end
        ones = np.ones(len(start))
        links = sparse.coo_matrix((ones, (start, end)), shape=(count, count)).tocsr()
        links = ((links + links.T) > 0).astype(np.float64) + sparse.identity(count, format="csr")
        return sparse.diags(1.0 / np.asarray(links.sum(axis=1)).ravel()) @ links

    def evened(self, values: Array, rounds: int = ROUNDS) -> Array:
        """Figures of the corners, each averaged with its neighbours' so many times."""
        for _ in range(rounds):
            values = self.mean_of_neighbours @ values
        return values

    def evened_among(self, chosen: BoolArray, values: Array, rounds: int) -> Array:
        """The same among some of the corners; the others keep their figures and lend none."""
        share = np.maximum(self.mean_of_neighbours @ chosen.astype(np.float64), 1e-12)
        for _ in range(rounds):
            mean = (self.mean_of_neighbours @ np.where(chosen, values, 0.0)) / share
            values = np.where(chosen, mean, values)
        return values

    @cached_property
    def normals(self) -> Array:
        """Unit normals of the corners, evened, (q, 3)."""
        corners = self.patch.faces.ravel()
        summed = [np.bincount(corners, np.repeat(self.vectors_mm2[:, k], 3), len(self.corners)) for k in range(3)]
        evened = self.evened(_unit(np.column_stack(summed)))
        return _unit(evened)

    @cached_property
    def spacings_mm(self) -> Array:
        """How far the corners lie apart about every corner, evened, (q,)."""
        points = self.patch.vertices_mm
        length = np.linalg.norm(points[self.edges.end] - points[self.edges.start], axis=1)
        count = np.bincount(self.edges.start, minlength=len(points))
        return self.evened(np.bincount(self.edges.start, length, len(points)) / np.maximum(count, 1))

    @cached_property
    def rim_away_mm(self) -> Array:
        """How far every corner of the patch is from where the scan ends, (q,)."""
        points = self.patch.vertices_mm
        rim = self._rim_corners()
        if len(rim) == 0:
            return np.full(len(points), float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0)
        # Most corners lie far from any rim: cells cut in halves take half the time of balanced ones.
        return np.asarray(cKDTree(points[rim], balanced_tree=False, compact_nodes=False).query(points)[0])

    def _rim_corners(self) -> IntArray:
        border = self.edges.border
        start, end = self.edges.start[border], self.edges.end[border]
        real = self.inner[start] & self.inner[end]
        start, end = start[real], end[real]
        _, loop = components(len(self.corners), start, end)
        long = np.bincount(loop[start], minlength=loop.max(initial=0) + 1)[loop[start]] >= LEAST_RIM
        return np.unique(start[long])


def _unit(vectors: Array) -> Array:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=1, keepdims=True), 1e-12))


def layers_of(posed: Sequence[Posed], reach_mm: float) -> list[Layer]:
    """The scans in the joined part's frame; the patch of each is what lies within the reach of another, and more."""
    meshes = abreast(placed, posed)
    cell_mm = reach_mm + 0.6 * max(map(long_edge_mm, meshes))
    occupied = abreast(lambda mesh: cells_about(mesh.vertices_mm, cell_mm), meshes)

    def layer_of(k: int) -> Layer:
        others = [cells for j, cells in enumerate(occupied) if j != k]
        return _layer(meshes[k], in_cells(meshes[k].vertices_mm, others, cell_mm))

    return abreast(layer_of, range(len(meshes)))


def _layer(mesh: Mesh, near_corner: BoolArray) -> Layer:
    mesh = _without_faulty(mesh, np.flatnonzero(touching(mesh.faces, near_corner)))
    near = np.flatnonzero(touching(mesh.faces, near_corner))
    used = np.zeros(len(mesh.vertices_mm), dtype=bool)
    used[mesh.faces[near]] = True
    corners = np.flatnonzero(used)
    number = np.cumsum(used) - 1
    patch = Mesh(mesh.vertices_mm[corners], number[mesh.faces[near]])
    vectors = face_vectors_mm2(mesh)
    way = vectors.sum(axis=0) / max(float(np.linalg.norm(vectors, axis=1).sum()), 1e-12)
    return Layer(mesh, near, corners, patch, pair_edges(patch.faces, len(corners)), near_corner[corners], way)


def _without_faulty(mesh: Mesh, near: IntArray) -> Mesh:
    """The mesh less those near faces at whose edges three faces meet, or two that look opposite ways.

    Seams are led along borders, and where such edges end no border can be walked. The holes are mended like any other.
    """
    edges = pair_edges(mesh.faces[near], len(mesh.vertices_mm))
    disagreeing = edges.disagreeing()
    faulty = np.concatenate([edges.crowded, disagreeing, edges.twin[disagreeing]])
    if len(faulty) == 0:
        return mesh
    kept = np.ones(len(mesh.faces), dtype=bool)
    kept[near[faulty // 3]] = False
    return Mesh(mesh.vertices_mm, mesh.faces[kept])


def long_edge_mm(mesh: Mesh) -> float:
    """Length that few edges are over."""
    a, b = (mesh.vertices_mm[mesh.faces[:, k]] for k in (0, 1))
    return float(np.quantile(np.linalg.norm(b - a, axis=1), MOST_EDGES)) if len(mesh.faces) else 0.0


def cells_about(points_mm: Array, cell_mm: float) -> IntArray:
    """Keys of the cells that hold points, each cell with its neighbours."""
    own = _once_each(_keys(np.floor(points_mm / cell_mm).astype(np.int64)))
    around = np.array([_step(i, j, k) for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1)])
    return _once_each((own[:, None] + around).ravel())


def _once_each(keys: IntArray) -> IntArray:
    """The keys in rising order; by sorting, in a third of the time that np.unique takes to look each up."""
    keys = np.sort(keys)
    return keys[np.flatnonzero(np.diff(keys, prepend=keys[:1] - 1))]


def in_cells(points_mm: Array, others: Sequence[IntArray], cell_mm: float) -> BoolArray:
    """Whether a point lies in a cell of any of the lists."""
    keys, number = np.unique(_keys(np.floor(points_mm / cell_mm).astype(np.int64)), return_inverse=True)
    found = np.zeros(len(keys), dtype=bool)
    for cells in others:
        found |= np.isin(keys, cells, assume_unique=True)
    return np.asarray(found[number])


# A cell's three numbers in one: two million cells each way, 0.1 mm or more each, are more than any part has.
WIDTH = 2**21


def _step(i: int, j: int, k: int) -> int:
    return (i * WIDTH + j) * WIDTH + k


def _keys(cells: IntArray) -> IntArray:
    low = cells + WIDTH // 2
    return np.asarray((low[:, 0] * WIDTH + low[:, 1]) * WIDTH + low[:, 2])
