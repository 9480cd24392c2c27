"""One wall thicker: its face, with all that stands on it, lifted out, and the sides drawn on from where it was."""

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from verifier.correcting.reshaping.faces_named import face_of
from verifier.correcting.reshaping.names import Names
from verifier.correcting.reshaping.section import Divided, clear_of_corners_mm, divided_at, heights_mm
from verifier.correcting.reshaping.work import NEW, CannotReshape, Flat, Work
from verifier.mesh import Array, BoolArray, IntArray, Mesh, marked_once
from verifier.rulebook.reshape_row import Reshape

# The face is parted from the rest this far below it: under the rim that a scanner rounds over about its point spacing.
BELOW_FACE_MM = (0.6, 0.3, 0.15)
# What is lifted keeps this far from what is not.
CLEARANCE_MM = 0.2


def thickened(work: Work, wanted: Reshape, names: Names) -> tuple[Work, str]:
    """The wall thicker by `by`; and what was done, a sentence. Raises CannotReshape."""
    by_mm = wanted.by or 0.0
    flat = face_of(work, wanted, names)
    divided, lifted = _parted(work, flat)
    _see_room_above(divided, lifted, flat, by_mm)
    mesh, sides = _lifted(divided, lifted, by_mm * flat.normal)
    source = np.concatenate([divided.source, np.full(sides, NEW)])
    rebuilt = np.concatenate([lifted, np.ones(sides, dtype=bool)])
    tree = cKDTree(divided.mesh.vertices_mm[marked_once(divided.mesh.faces[lifted], len(divided.mesh.vertices_mm))])

    def moves(points_mm: Array) -> Array:
        """A place moves with the face where the lifted surface is the nearest to it."""
        near = tree.query(points_mm)[0] < 2.0
        high = (points_mm - flat.centre_mm) @ flat.normal > -BELOW_FACE_MM[0]
        return points_mm + np.where(near & high, by_mm, 0.0)[:, None] * flat.normal

    thicker = work.with_faces(mesh, source, rebuilt).moved(moves)
    return thicker, f"Made {by_mm:g} mm thicker on {flat.name} ({flat.area_mm2:.0f} mm²), with all that stands on it."


def _parted(work: Work, flat: Flat) -> tuple[Divided, BoolArray]:
    """The mesh divided a little below the face, and which faces hang together with it above that."""
    heights = heights_mm(work.mesh, flat.normal, flat.centre_mm)
    for below_mm in BELOW_FACE_MM:
        divided = divided_at(work.mesh, heights, clear_of_corners_mm(heights, -below_mm))
        piece = _pieces(divided.mesh.faces, divided.above)
        own = np.isin(divided.source, flat.faces) & divided.above
        lifted = np.isin(piece, np.unique(piece[own])) & divided.above
        if _borders_the_cut(divided, lifted):
            return divided, lifted
    raise CannotReshape(f"{flat.name} has no sides to draw on", "Name another face of that wall")


def _borders_the_cut(divided: Divided, lifted: BoolArray) -> bool:
    """Whether every loop of the cut is bordered by faces that are all lifted or all not; and some are."""
    return bool(lifted.any()) and bool((divided.mesh.faces[lifted] >= divided.first).any())


def _pieces(faces: IntArray, chosen: BoolArray) -> IntArray:
    """A number for every face, the same for chosen ones that share corners, (m,)."""
    own = faces[chosen]
    count = int(faces.max()) + 1
    links = sparse.coo_array(
        (np.ones(2 * len(own), dtype=np.int8), (own[:, [0, 1]].ravel(), own[:, [1, 2]].ravel())), shape=(count, count)
    )
    return np.asarray(csgraph.connected_components(links, directed=False)[1][faces[:, 0]], dtype=np.int64)


def _see_room_above(divided: Divided, lifted: BoolArray, flat: Flat, by_mm: float) -> None:
    """See that what is lifted runs into nothing. Raises CannotReshape."""
    vertices = divided.mesh.vertices_mm
    moving = marked_once(divided.mesh.faces[lifted], len(vertices))
    others = np.ones(len(vertices), dtype=bool)
    others[moving] = False
    resting = np.flatnonzero(others)
    heights = (vertices[resting] - flat.centre_mm) @ flat.normal
    top_mm = float(((vertices[moving] - flat.centre_mm) @ flat.normal).max())
    in_the_way = vertices[resting[(heights > 0.0) & (heights < top_mm + by_mm + CLEARANCE_MM)]]
    if len(in_the_way) == 0:
        return
    tree = cKDTree(vertices[moving])
    for share in np.linspace(0.25, 1.0, 4):
        if (tree.query(in_the_way - share * by_mm * flat.normal)[0] < CLEARANCE_MM).any():
            raise CannotReshape(
                f"another face stands in the way above {flat.name}", "Make it less thick, or grow its other side"
            )


def _lifted(divided: Divided, lifted: BoolArray, by_mm: Array) -> tuple[Mesh, int]:
    """The faces moved with corners of their own along the cut, and two new faces a step of it; how many these are."""
    vertices, faces = divided.mesh.vertices_mm, divided.mesh.faces.copy()
    steps = divided.steps
    own = np.zeros(len(vertices), dtype=bool)
    own[faces[lifted]] = True
    border = own.copy()
    border[: divided.first] = False  # corners on the cut, which the rest keeps
    twin = np.arange(len(vertices))
    twin[border] = len(vertices) + np.arange(int(border.sum()))
    faces[lifted] = twin[faces[lifted]]
    moved = vertices.copy()
    moved[own & ~border] += by_mm
    start, end = steps[border[steps].all(axis=1)].T
    # The faces above run from start to end: the sides run back, and below they run as the faces above did.
    sides = np.concatenate([np.column_stack([start, end, twin[end]]), np.column_stack([start, twin[end], twin[start]])])
    return Mesh(np.concatenate([moved, vertices[border] + by_mm]), np.concatenate([faces, sides])), len(sides)
