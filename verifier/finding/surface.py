"""The solid as a cloud of joined points: where each lies, which way it faces, whether it was really seen."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array, triu
from scipy.sparse.csgraph import connected_components

from verifier.finding.cells import cell_mm
from verifier.finding.doubt import evenly
from verifier.finding.robust import spread_mm
from verifier.finding.sampling import Sampled, is_coarse, sampled
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2, within

# A normal may be off by this much from white scatter alone; averaged over a radius R it is off by about
# scatter x spacing / (5 R^2), which says how often to average: 0.05 mm at 0.1 mm spacing needs 0.18 mm.
NORMAL_U_RAD = 0.03
LEAST_RADIUS_MM = 0.15
# Of the six faces round a point alone the normal is off by 0.6 x scatter / spacing. On coarse nets that is little, and
# averaging over the points beside it draws the faces of a plate into the wall of a bore through it: where it is half
# of what the strictest of a wall's points may lean (`rings.py`), low walls are looked for by such normals too.
U_OF_SIX_FACES = 0.6
SHARP_U_RAD = 0.05
FEWEST_AVERAGINGS, MOST_AVERAGINGS = 2, 24
SAMPLE = 20_000
WHOLE_NET, THINNED_NET = 0.85, 1.15


@dataclass(frozen=True, slots=True)
class Surface:
    """Corners of a solid with what the finders ask of each.

    points_mm : (n, 3)
    normals : (n, 3) unit, outward, averaged over the neighbourhood; zero where nothing was measured
    sharp : (n, 3) the same, of the faces round each point alone; None where these say too little
    areas_mm2 : (n,) a third of the measured faces round each point
    seen : (n,) bool, every face round the point was measured
    neighbours : (n, n) sparse, one where two points share an edge
    ahead : (n, n) sparse, the same edges once each, from the point of the lower number to the other
    faces : (k, 3)
    spacing_mm : middle length of an edge
    parent : (k,) the solid's face each face lies in; itself, unless the solid's net is coarse and its edges were cut
    chord_mm : (n,) how far a round wall may lie off the facet beneath each point; nought on a fine net
    coarse : whether the edges were cut
    corner_count : how many of the points, the first ones, are the solid's own corners
    facets : (m, 3) the solid's own faces, over those corners
    facet : (n,) one of them on which each point lies; share : (n, 3) of its corners, adding up to one where the
        edges were cut (else every point is a corner, and nobody asks)
    thinned : how much of the net was thinned by collapsing edges, 0 to 1, see `thinned_share`
    cell_mm : edge of the cells the scan was fused in; nought where its net shows none
    """

    points_mm: Array
    normals: NDArray[np.float32]
    sharp: NDArray[np.float32] | None
    areas_mm2: Array
    seen: BoolArray
    neighbours: csr_array
    ahead: csr_array
    faces: IntArray
    spacing_mm: float
    parent: IntArray
    chord_mm: Array
    coarse: bool
    corner_count: int
    facets: IntArray
    facet: IntArray
    share: Array
    thinned: float
    cell_mm: float

    def patches(self, chosen: IntArray) -> tuple[int, IntArray]:
        """Connected patches among the chosen points: how many, and the patch of each, (k,)."""
        place = np.full(len(self.points_mm), -1, dtype=np.int32)
        place[chosen] = np.arange(len(chosen), dtype=np.int32)
        row_ends, others = _rows(self.ahead, chosen)  # an edge joins its ends whichever way it is followed
        to = np.take(place, others)
        kept = to >= 0
        ends = np.take(_running_sum(kept), row_ends)
        among = csr_array((np.ones(int(ends[-1])), to[kept], ends), shape=(len(chosen), len(chosen)))
        count, label = connected_components(among, connection="weak")
        return int(count), label.astype(np.int64)

    def faces_of(self, chosen: IntArray) -> IntArray:
        """The solid's faces whose three corners are all chosen, (k,); of a cut face a quarter of its parts."""
        inside = np.zeros(len(self.points_mm), dtype=bool)
        inside[chosen] = True
        whole = within(self.faces, inside)
        if not self.coarse:
            return whole
        most = int(self.parent.max()) + 1
        parts, chosen_parts = (np.bincount(p, minlength=most) for p in (self.parent, self.parent[whole]))
        return np.flatnonzero((chosen_parts > 0) & (4 * chosen_parts >= parts))

    def points_of(self, solid_faces: IntArray) -> IntArray:
        """Points on faces of the solid."""
        faces = solid_faces if not self.coarse else np.isin(self.parent, solid_faces)
        on_them = np.zeros(len(self.points_mm), dtype=bool)
        on_them[self.faces[faces]] = True
        return np.flatnonzero(on_them)


def _rows(matrix: csr_array, chosen: IntArray) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """The entries of some rows: where each row begins and the last one ends, (k + 1,), and the columns of all, (n,).

    In a third of the time of `matrix[chosen]`, which copies the values too.
    """
    start = np.take(matrix.indptr, chosen)
    count = np.take(matrix.indptr, chosen + 1) - start
    ends = _running_sum(count)
    at = np.arange(ends[-1], dtype=np.int32)
    at += np.repeat(start - ends[:-1], count)
    return ends, np.take(matrix.indices, at)


def _running_sum(counts: NDArray[np.integer] | BoolArray) -> NDArray[np.int32]:
    """How many there are before each, and last of all, (n + 1,)."""
    ends = np.zeros(len(counts) + 1, dtype=np.int32)
    np.cumsum(counts, out=ends[1:])
    return ends


def surface_of(solid: Solid) -> Surface:
    """Points, averaged normals and neighbours of a closed solid.

    The averaging is half a step towards the mean of the neighbours, repeated; each repeat widens the reach by a
    quarter of the squared spacing.
    """
    measured = np.asarray(solid.origin) == Origin.MEASURED
    coarse = is_coarse(solid.mesh, measured)
    copy = sampled(solid.mesh) if coarse else _as_it_is(solid.mesh)
    mesh, measured = copy.mesh, measured[copy.parent]
    neighbours = _neighbours(mesh)
    spacing_mm = _spacing_mm(mesh)
    vectors = copy.vectors_mm2 if measured.all() else np.where(measured[:, None], copy.vectors_mm2, 0.0)
    seen = np.ones(len(mesh.vertices_mm), dtype=bool)
    seen[mesh.faces[~measured]] = False
    raw = _sum_to_corners(mesh, vectors)
    rough = _averaged(raw, seen, neighbours, FEWEST_AVERAGINGS)
    white = neighbour_scatter_mm(mesh.vertices_mm, rough, seen, neighbours)
    radius = max(LEAST_RADIUS_MM, np.sqrt(white * spacing_mm / (5.0 * NORMAL_U_RAD)))
    repeats = int(np.clip(4.0 * (radius / spacing_mm) ** 2, FEWEST_AVERAGINGS, MOST_AVERAGINGS))
    normals = _averaged(rough, seen, neighbours, repeats - FEWEST_AVERAGINGS)
    is_told_by_six = U_OF_SIX_FACES * white < SHARP_U_RAD * spacing_mm
    areas = _sum_to_corners(mesh, np.linalg.norm(vectors, axis=1)[:, None])[:, 0] / 6.0
    return Surface(
        points_mm=mesh.vertices_mm,
        normals=normals,
        sharp=_averaged(raw, seen, neighbours, 0) if is_told_by_six and not coarse else None,
        areas_mm2=areas,
        seen=seen,
        neighbours=neighbours,
        ahead=triu(neighbours, format="csr"),
        faces=mesh.faces,
        spacing_mm=spacing_mm,
        parent=copy.parent,
        chord_mm=copy.chord_mm,
        coarse=coarse,
        corner_count=len(solid.mesh.vertices_mm),
        facets=solid.mesh.faces,
        facet=copy.facet,
        share=copy.share,
        thinned=thinned_share(solid.mesh),
        cell_mm=cell_mm(solid.mesh.vertices_mm),
    )


def _as_it_is(mesh: Mesh) -> Sampled:
    own = np.arange(len(mesh.faces))
    facet = np.zeros(len(mesh.vertices_mm), dtype=np.int64)
    facet[mesh.faces] = own[:, None]
    share = np.broadcast_to(np.full(3, np.nan), (len(mesh.vertices_mm), 3))
    return Sampled(mesh, own, face_vectors_mm2(mesh), np.zeros(len(mesh.vertices_mm)), facet, share)


def thinned_share(mesh: Mesh) -> float:
    """How much of a net was thinned by collapsing edges, 0 to 1, told by how unevenly its corners are met.

    The number of faces round a corner has a standard deviation of 0.5 to 0.8 on nets drawn through a grid (surface
    nets, marching cubes, however the surface scatters), 1.0 where a fifth of the faces was collapsed, 1.2 and more
    where half of them were.
    """
    met = np.bincount(mesh.faces.ravel())
    return float(np.clip((np.std(met[met > 0]) - WHOLE_NET) / (THINNED_NET - WHOLE_NET), 0.0, 1.0))


def neighbour_scatter_mm(
    points_mm: Array, normals: NDArray[np.float32], seen: BoolArray, neighbours: csr_array
) -> float:
    """White scatter from each point's step off the mean of its neighbours, along the normal."""
    few = evenly(len(points_mm), SAMPLE)
    few = few[seen[few]]
    if len(few) == 0:
        return 0.0
    count = np.diff(neighbours.indptr)[few]
    mean = (neighbours[few] @ points_mm) / count[:, None]
    step = np.einsum("ij,ij->i", points_mm[few] - mean, normals[few])
    return spread_mm(step) / float(np.sqrt(1.0 + 1.0 / float(np.mean(count))))


def _neighbours(mesh: Mesh) -> csr_array:
    """Sparse matrix of shared edges; in a closed oriented mesh each ordered pair occurs exactly once."""
    n = len(mesh.vertices_mm)
    here = mesh.faces.ravel().astype(np.int32)
    there = mesh.faces[:, [1, 2, 0]].ravel().astype(np.int32)
    return csr_array((np.ones(len(here), dtype=np.float32), (here, there)), shape=(n, n))


def _spacing_mm(mesh: Mesh) -> float:
    """Middle length of at most a few thousand edges, taken evenly through the file."""
    few = mesh.faces[:: max(1, len(mesh.faces) // 4000)]
    return float(np.median(np.linalg.norm(mesh.vertices_mm[few[:, 0]] - mesh.vertices_mm[few[:, 1]], axis=1)))


def _sum_to_corners(mesh: Mesh, per_face: Array) -> Array:
    """Adds each face's row to its three corners, (n, k)."""
    corners = mesh.faces.ravel().astype(np.int32)
    columns = np.arange(0, len(corners) + 1, 3, dtype=np.int32)
    onto = csc_array((np.ones(len(corners)), corners, columns), shape=(len(mesh.vertices_mm), len(mesh.faces)))
    return np.asarray(onto @ per_face)


def _averaged(raw: NDArray[np.floating], seen: BoolArray, neighbours: csr_array, repeats: int) -> NDArray[np.float32]:
    """Unit normals after averaging among measured points only."""
    normals = _unit(raw.astype(np.float32)) * seen[:, None]
    count = np.maximum(np.diff(neighbours.indptr), 1).astype(np.float32)[:, None]
    for _ in range(repeats):
        normals = 0.5 * normals + (neighbours @ normals) * (np.float32(0.5) / count)
        normals[~seen] = 0.0
    return _unit(normals)


def _unit(vectors: NDArray[np.float32]) -> NDArray[np.float32]:
    """Each row as long as one; rows of nothing stay nothing."""
    length = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))[:, None]
    return np.asarray(np.divide(vectors, length, out=np.zeros_like(vectors), where=length > 0))
