"""The judge: whether a surface is a closed solid as whoever reads the written file will see it.

Shares no code with the menders. A file holds 32-bit floats and no corner numbers, so the corners are rounded and welded
first; what is wrong then is wrong, however sound the arrays in memory are.
"""

from dataclasses import dataclass, replace

import manifold3d
import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from verifier.mesh import BoolArray, IntArray, Mesh, box_mm, face_areas_mm2, volume_mm3

NOT_ASKED = "not asked"
# Of the grid by which faces are ordered for the kernel: its cells are named by numbers of 16 bits, which sort fastest.
CELLS_A_SIDE = 32


@dataclass(frozen=True, slots=True)
class Judgement:
    """What is wrong with a surface; nothing, when it is a closed solid.

    open_edges : directed edges that have no opposite, or not exactly one
    split_corners : corners with more than one fan of faces
    flat_faces : faces without area
    volume_mm3 : signed volume
    kernel : the verdict of the solid modelling kernel, 'NoError' when it accepts the surface; NOT_ASKED
    """

    open_edges: int
    split_corners: int
    flat_faces: int
    volume_mm3: float
    kernel: str

    @property
    def sound(self) -> bool:
        """Whether the surface is a closed solid."""
        flaws = self.open_edges + self.split_corners + self.flat_faces
        return flaws == 0 and self.volume_mm3 > 0 and self.kernel == "NoError"

    @property
    def closed(self) -> bool:
        """Whether every edge has two faces that agree, every corner one fan, and the inside is in."""
        return self.open_edges + self.split_corners == 0 and self.volume_mm3 > 0

    @property
    def sentence(self) -> str:
        """What is wrong, in words."""
        said = [
            f"{self.open_edges} edges are not shared by exactly two faces" if self.open_edges else "",
            f"{self.split_corners} corners join surfaces by a point" if self.split_corners else "",
            f"{self.flat_faces} faces have no area" if self.flat_faces else "",
            "" if self.volume_mm3 > 0 else "the surface encloses no volume",
            "" if self.kernel in ("NoError", NOT_ASKED) else f"the solid modelling kernel says {self.kernel}",
        ]
        return ", ".join(part for part in said if part) or "the surface is a closed solid"


def judge_as_written(mesh: Mesh) -> Judgement:
    """Judge a surface as the reader of its file will see it. The kernel is asked only when all else is right."""
    written = as_written(mesh)
    found = judge_as_numbered(written)
    if not found.closed or found.flat_faces:
        return found
    return replace(found, kernel=_kernel_verdict(written))


def judge_as_numbered(mesh: Mesh) -> Judgement:
    """Judge a surface whose corners are one where they have one number, as in a 3MF. The kernel is not asked."""
    opposite = _opposites(mesh.faces, len(mesh.vertices_mm))
    if opposite is None:
        wrong, _ = count_edge_flaws(mesh.faces)
        return Judgement(wrong, 0, 0, volume_mm3(mesh), NOT_ASKED)
    flat = int((face_areas_mm2(mesh) <= 0.0).sum())
    return Judgement(0, _split_corners(mesh.faces, opposite), flat, volume_mm3(mesh), NOT_ASKED)


def is_closed_as_numbered(mesh: Mesh) -> bool:
    """Whether that judgement would call the surface closed; whether faces have no area is not asked."""
    opposite = _opposites(mesh.faces, len(mesh.vertices_mm))
    return opposite is not None and _split_corners(mesh.faces, opposite) == 0 and volume_mm3(mesh) > 0.0


def is_closed_as_written(mesh: Mesh) -> bool:
    """Whether the surface is closed and no face without area, as the reader of its file will see it.

    For what was made by exact exchange out of a solid: a fifth of the judge's time, and the kernel is not asked.
    """
    written = as_written(mesh)
    closed = _opposites(written.faces, len(written.vertices_mm)) is not None
    return closed and not bool((face_areas_mm2(written) <= 0.0).any())


def as_written(mesh: Mesh) -> Mesh:
    """The surface with corners rounded to 32-bit floats and equal ones made one."""
    rounded = mesh.vertices_mm.astype(np.float32) + np.float32(0.0)
    if not _has_equal_rows(rounded):
        return Mesh(rounded.astype(np.float64), mesh.faces)
    places, number = np.unique(rounded, axis=0, return_inverse=True)
    return Mesh(places.astype(np.float64), number.reshape(-1)[mesh.faces])


def _has_equal_rows(rounded: NDArray[np.float32]) -> bool:
    """Whether two places are one. Those that share no x and y with another are left out of the full comparison."""
    bits = rounded.view(np.uint32).astype(np.uint64)
    across = (bits[:, 0] << np.uint64(32)) | bits[:, 1]
    order = np.argsort(across)
    again = across[order[1:]] == across[order[:-1]]
    some = rounded[order[np.r_[again, False] | np.r_[False, again]]] if again.any() else rounded[:0]
    some = some[np.lexsort(some.T)]
    return bool((some[1:] == some[:-1]).all(axis=1).any())


def count_edge_flaws(faces: IntArray) -> tuple[int, int]:
    """Edges not shared by exactly two faces, and edges whose two faces run round in opposite senses."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    # One number an edge takes a quarter of the time of two columns.
    edge = np.minimum(start, end) * (int(faces.max(initial=0)) + 1) + np.maximum(start, end)
    _, name, times = np.unique(edge, return_inverse=True, return_counts=True)
    sense = np.bincount(name.reshape(-1), np.where(start < end, 1, -1), len(times))
    turned = int(((times == 2) & (sense != 0)).sum())
    return int((times != 2).sum()) + turned, turned


def _opposites(faces: IntArray, corner_count: int) -> IntArray | None:
    """The half-edge opposite every half-edge; None unless every directed edge occurs once and has its opposite."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    if (start == end).any():
        return None
    names = np.arange(len(start), dtype=np.int32)
    leaving = sparse.coo_matrix((names, (start, end)), (corner_count, corner_count)).tocsr()
    arriving = leaving.T.tocsr()
    leaving.sort_indices()
    arriving.sort_indices()
    if leaving.nnz != len(start) or not (
        np.array_equal(leaving.indptr, arriving.indptr) and np.array_equal(leaving.indices, arriving.indices)
    ):
        return None
    opposite = np.empty(len(start), dtype=np.int64)
    opposite[leaving.data] = arriving.data
    return opposite


def _split_corners(faces: IntArray, opposite: IntArray) -> int:
    """Corners whose faces do not all follow one another around.

    Walking around from one half-edge of each corner must visit all of them: as many steps as the corner has faces.
    """
    start = faces.ravel()
    degree = np.bincount(start)
    first = np.full(len(degree), -1)
    first[start] = np.arange(len(start))
    walkers = np.flatnonzero(first >= 0)
    here, steps = first[walkers], 0
    split = 0
    while len(walkers):
        before = np.where(here % 3 == 0, here + 2, here - 1)
        here, steps = opposite[before], steps + 1
        home: BoolArray = here == first[walkers]
        split += int((degree[walkers[home]] != steps).sum())
        walkers, here = walkers[~home], here[~home]
    return split


def _kernel_verdict(mesh: Mesh) -> str:
    """Status of manifold3d for this surface. Necessary, not sufficient: it accepts inside-out and touching surfaces."""
    solid = manifold3d.Manifold(manifold3d.Mesh(*_by_cells(mesh)))
    return str(solid.status().name)


def _by_cells(mesh: Mesh) -> tuple[NDArray[np.float32], NDArray[np.uint32]]:
    """The surface with its corners and faces in the order of the cells of a grid, cell by cell.

    What lies side by side then lies so in memory too: of a million faces in random order the kernel's verdict takes
    1.2 s, 2.8 to 3.2 s as they are; in a scanner's order it takes the same.
    """
    low, high = box_mm(mesh.vertices_mm)
    per_mm = (CELLS_A_SIDE - 0.01) / max(float((high - low).max()), 1e-9)
    x, y, z = (((axis - least) * per_mm).astype(np.uint16) for axis, least in zip(mesh.vertices_mm.T, low, strict=True))
    cell = (x * CELLS_A_SIDE + y) * CELLS_A_SIDE + z
    order = np.argsort(cell, kind="stable")
    number = np.empty(len(order), dtype=np.uint32)
    number[order] = np.arange(len(order), dtype=np.uint32)
    faces = mesh.faces[np.argsort(cell[mesh.faces[:, 0]], kind="stable")]
    return mesh.vertices_mm[order].astype(np.float32), number[faces]
