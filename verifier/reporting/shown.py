"""The mesh as the page shows it: few enough triangles to turn smoothly, every one still knowing where it came from."""

from dataclasses import dataclass, replace

import fast_simplification
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, IntArray, Mesh, area_mm2

# Corners are first drawn together on a grid that leaves about this many times the triangles asked for; only then
# come the costlier edge collapses. Measured at 1 M triangles: 3 times halves the seconds of collapses alone, and the
# grid's step stays under half of what the collapses leave between corners.
GRID_SURPLUS = 3


# Beside the origins of a solid's faces: measured, but in the band where two scans were joined.
JOINED = len(Origin)


@dataclass(frozen=True, slots=True)
class ShownMesh:
    """A surface to look at, not to measure or print.

    vertices_mm : (n, 3) float32, in the frame of the scan, as the callouts' points are
    faces : (m, 3) int32
    origin : (m,) uint8, an Origin for every face, or JOINED
    """

    vertices_mm: NDArray[np.float32]
    faces: NDArray[np.int32]
    origin: NDArray[np.uint8]


def shown_mesh(solid: Solid, *, at_most: int = 60_000) -> ShownMesh:
    """The solid in at most about `at_most` triangles; a solid of fewer is shown as it is."""
    mesh, origin = solid.mesh, solid.origin
    if len(mesh.faces) > GRID_SURPLUS * at_most:
        mesh, origin = _on_a_grid(mesh, origin, GRID_SURPLUS * at_most)
    if len(mesh.faces) > at_most:
        mesh, origin = _collapsed(mesh, origin, at_most)
    return ShownMesh(mesh.vertices_mm.astype(np.float32), mesh.faces.astype(np.int32), origin.astype(np.uint8))


def with_seam(shown: ShownMesh, seam_at_mm: Array) -> ShownMesh:
    """The same with the measured faces along a seam marked as joined.

    seam_at_mm : (k, 3) middles of the seam's own faces; a shown face is of the seam within half of its longest side
    """
    if len(seam_at_mm) == 0:
        return shown
    corners = shown.vertices_mm.astype(np.float64)[shown.faces]
    reach_mm = 0.5 * np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    away_mm, _ = cKDTree(seam_at_mm).query(corners.mean(axis=1), distance_upper_bound=float(reach_mm.max(initial=0.0)))
    joined = (away_mm <= reach_mm) & (shown.origin == Origin.MEASURED)
    return replace(shown, origin=np.where(joined, np.uint8(JOINED), shown.origin))


def _on_a_grid(mesh: Mesh, origin: NDArray[np.uint8], about: int) -> tuple[Mesh, NDArray[np.uint8]]:
    """Draw together all corners in one cell of a grid; the faces that keep three corners keep their origin.

    A closed surface with one corner a cell has two triangles a corner, and crosses about 1.5 times area / step^2
    cells of a cubic grid: that gives the step.
    """
    step_mm = np.sqrt(3.0 * area_mm2(mesh) / about)
    cells = np.floor((mesh.vertices_mm - mesh.vertices_mm.min(axis=0)) / step_mm).astype(np.int64)
    counts = cells.max(axis=0) + 1
    keys = (cells[:, 0] * counts[1] + cells[:, 1]) * counts[2] + cells[:, 2]
    _, cell_of, sizes = np.unique(keys, return_inverse=True, return_counts=True)
    faces = cell_of[mesh.faces]
    kept = (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])
    return Mesh(_means(mesh.vertices_mm, cell_of, sizes), faces[kept]), origin[kept]


def _means(points_mm: Array, group: IntArray, sizes: IntArray) -> Array:
    """Mean of the points of every group, (k, 3)."""
    sums = [np.bincount(group, weights=points_mm[:, axis], minlength=len(sizes)) for axis in range(3)]
    return np.column_stack(sums) / sizes[:, None]


def _collapsed(mesh: Mesh, origin: NDArray[np.uint8], at_most: int) -> tuple[Mesh, NDArray[np.uint8]]:
    """Collapse the edges that matter least to the shape; the faces left are some of those before and keep their origin.

    They come in the order they had: which ones they are, the collapses tell, each as the corner kept and the one drawn
    into it. A face with two corners drawn into one is gone.
    """
    points, faces, collapses = fast_simplification.simplify(
        mesh.vertices_mm.astype(np.float32), mesh.faces.astype(np.int32), target_count=at_most, return_collapses=True
    )
    simpler = Mesh(points.astype(np.float64), faces.astype(np.int64))
    into = np.arange(len(mesh.vertices_mm))
    into[collapses[:, 1]] = collapses[:, 0]
    while not np.array_equal(further := into[into], into):
        into = further
    a, b, c = (np.take(into, corner) for corner in mesh.faces.T)
    return simpler, origin[(a != b) & (b != c) & (c != a)]
