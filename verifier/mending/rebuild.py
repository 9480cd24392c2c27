"""The last resort: a new surface around everything that the scan winds around by more than half."""

import igl
import numpy as np
from scipy import ndimage

from verifier.mending.crossings import LEFT_CROSSING
from verifier.mending.draft import Draft
from verifier.mending.pieces import drop_inner_shells, remove_debris_and_fins
from verifier.mending.solid import Origin
from verifier.mending.telling import tell_faces
from verifier.mesh import Array, BoolArray, Mesh, drop_unused_vertices, extents_mm

# Corners of the grid: bounded time and memory (seconds and 0.1 GiB, more with the faces of the scan).
CORNERS = 1_500_000
# A wall needs three cells to be there at all, and moulded walls are from 1 mm up (common practice, no source). A part
# that would need larger cells is not rebuilt.
COARSEST_MM = 0.35
# Nine in ten corners of the scan must lie this near to the new surface, as near as a scan's own scatter, and all but
# one in a hundred within a cell: edges are cut off by less than that. Anything else is another part.
NEAR_MM = 0.05
# Half-way between outside (0) and inside (1) of the generalised winding number (Jacobson, Kavan, Sorkine 2013).
INSIDE = 0.5


def rebuilt(draft: Draft) -> Draft | None:
    """A closed surface near the scan's, every face marked REBUILT; None where the part is too large or comes out wrong.

    On a grid of cubes, the distance to the scan, with its sign from the winding number; the surface is where that is
    zero (marching cubes of libigl). Flat faces come out flat, edges cut off by less than a cell.
    """
    size_mm = extents_mm(draft.mesh)
    cell_mm = float(np.cbrt(size_mm.prod() / CORNERS))
    if not 0.0 < cell_mm < COARSEST_MM:
        return None
    points, shape = _grid(draft.mesh, cell_mm)
    vertices, faces, _ = igl.marching_cubes(_signed_mm(draft.mesh, points, shape, cell_mm), points, *shape, 0.0)
    # libigl has the larger values behind a face; here they are inside.
    mesh = drop_unused_vertices(
        Mesh(np.asarray(vertices, dtype=np.float64), np.asarray(faces, dtype=np.int64)[:, ::-1])
    )
    if len(mesh.faces) == 0 or not _is_same_part(draft.mesh, mesh, cell_mm):
        return None
    made = _without_bubbles(Draft(mesh, np.full(len(mesh.faces), Origin.REBUILT, dtype=np.uint8)))
    everywhere = np.arange(len(made.mesh.faces))
    whole = tell_faces("Rebuilt the surface", made.mesh, everywhere, np.zeros_like(everywhere))
    told = tuple(step for step in draft.steps if step.what != LEFT_CROSSING)  # of the surface that is no more
    return Draft(made.mesh, made.origin, told).telling(whole)


def _without_bubbles(made: Draft) -> Draft:
    """The surface less what is around single grid corners that lie in the scan's faces and count to the wrong side."""
    return drop_inner_shells(remove_debris_and_fins(made))


def _grid(mesh: Mesh, cell_mm: float) -> tuple[Array, tuple[int, int, int]]:
    """Corners of a grid two cells larger than the part all around, the first axis running fastest; and how many."""
    low, high = mesh.vertices_mm.min(axis=0) - 2.0 * cell_mm, mesh.vertices_mm.max(axis=0) + 2.0 * cell_mm
    axes = [np.arange(a, b + cell_mm, cell_mm) for a, b in zip(low, high, strict=True)]
    z, y, x = np.meshgrid(*axes[::-1], indexing="ij")
    return np.column_stack([x.ravel(), y.ravel(), z.ravel()]), (len(axes[0]), len(axes[1]), len(axes[2]))


def _signed_mm(mesh: Mesh, points_mm: Array, shape: tuple[int, int, int], cell_mm: float) -> Array:
    """Distance of every grid corner to the surface, negative outside; two cells where it does not matter."""
    inside: BoolArray = np.asarray(igl.fast_winding_number(mesh.vertices_mm, mesh.faces, points_mm) > INSIDE)
    solid = inside.reshape(shape[::-1])
    cube = np.ones((3, 3, 3), dtype=bool)
    skin = (ndimage.binary_dilation(solid, cube) & ndimage.binary_dilation(~solid, cube)).ravel()
    far = np.full(len(points_mm), 2.0 * cell_mm)
    square, _, _ = igl.point_mesh_squared_distance(points_mm[skin], mesh.vertices_mm, mesh.faces)
    # A corner in the very surface would make faces of no area: a thousandth of a cell off is nothing.
    far[skin] = np.maximum(np.sqrt(square), 1e-3 * cell_mm)
    return np.where(inside, far, -far)


def _is_same_part(scan: Mesh, made: Mesh, cell_mm: float) -> bool:
    square, _, _ = igl.point_mesh_squared_distance(scan.vertices_mm, made.vertices_mm, made.faces)
    usual, most = np.sqrt(np.quantile(square, [0.9, 0.99]))
    return bool(usual < NEAR_MM and most < cell_mm)
