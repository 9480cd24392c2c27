"""The new corners of filled holes follow the surface around them: flat stays flat, round stays round."""

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_normals

# Where the faces around a hole lead more than this away from the taut film over it (cosine of 35 degrees, mean around
# the rim), the hole takes in an edge or a corner of the part, and running their slope on would bulge.
LEADS_ELSEWHERE = 0.82
# Up to this width a plate may reach beyond the box of the rim, as over the end of a round boss. Over a wider hole the
# roughness of the rim, led on over the width, is enough to make it, and that would be a size of the part that nobody
# saw. A place over 6 mm across is never passed; a ragged rim reaches half a spacing further.
WIDE_MM = 6.5
# What reaches no further beyond than this, a scan's own scatter (common practice, no source), is pressed into the box.
SCATTER_MM = 0.05
# A plate that goes further is believed over up to this width, and where it stands off the film by so much on average:
# a rim that scatters by 0.02 mm makes 0.07 mm over 9 mm of a flat, a round of 10 mm radius 0.2 to 0.4 mm.
WIDEST_MM = 13.0
BELIEVED_MM = 0.15


def faired(mesh: Mesh, fresh: BoolArray, hole: IntArray, fill: BoolArray) -> Array:
    """Places for the fresh corners, (n, 3) with all others as they were.

    mesh : the filled holes and at least one ring of faces around their rims
    fresh : (n,) the corners that may move
    hole : (n,) the hole a corner belongs to, at its rim or inside it; -1 elsewhere
    fill : (m,) the faces that are new

    A hole gets the thin plate where its surroundings lead on into it, and the taut film where they lead elsewhere or
    where the plate over a wide hole would stick out of the box around its rim without being believed.
    """
    pull = _pulls(mesh)
    film, plate = _film(mesh, pull, fresh), _plate(mesh, pull, fresh, (hole >= 0) & ~fresh)
    plate = _pressed_in(plate, hole, fresh)
    stiff = _leads_on(film, mesh.faces, hole, fill) & ~_bulges_out(film, plate, hole, fresh)
    return np.where((fresh & stiff[hole])[:, None], plate.vertices_mm, film.vertices_mm)


def _film(mesh: Mesh, pull: sparse.csr_matrix, fresh: BoolArray) -> Mesh:
    """Every fresh corner in the weighted middle of its neighbours: within the hull of the rim, whatever its shape."""
    inside, around = np.flatnonzero(fresh), np.flatnonzero(~fresh)
    return _solved(mesh, pull[inside], inside, around, squared=False)


def _plate(mesh: Mesh, pull: sparse.csr_matrix, fresh: BoolArray, rim: BoolArray) -> Mesh:
    """Fresh corners where the surface bends least: the sum of squared pulls, over fresh and rim corners, is least.

    Pulls at the rim make the slope run through, as a thin plate clamped to the surface would.
    """
    inside, around = np.flatnonzero(fresh), np.flatnonzero(~fresh)
    return _solved(mesh, pull[np.flatnonzero(fresh | rim)], inside, around, squared=True)


def _solved(mesh: Mesh, rows: sparse.csr_matrix, inside: IntArray, around: IntArray, *, squared: bool) -> Mesh:
    origin = mesh.vertices_mm[around].mean(axis=0)
    moving, known = rows[:, inside], -(rows[:, around] @ (mesh.vertices_mm[around] - origin))
    if squared:
        moving, known = moving.T @ moving, moving.T @ known
    places = mesh.vertices_mm.copy()
    places[inside] = splu(moving.tocsc()).solve(known) + origin
    return Mesh(places, mesh.faces)


def _pulls(mesh: Mesh) -> sparse.csr_matrix:
    """Rows: a corner less the mean of its neighbours, near ones counting more (1 / length), over the mean length.

    The pull of a surface of one curvature grows with the square of the length, and the surface a corner stands for does
    too: over the length, each corner's square counts by its surface. Left out, a fill of 8 mm radius came out 0.07 mm
    flat where triangles of two sizes meet.
    """
    count = len(mesh.vertices_mm)
    ahead = mesh.faces[:, [1, 2, 0]].ravel()
    start, end = np.r_[mesh.faces.ravel(), ahead], np.r_[ahead, mesh.faces.ravel()]
    length = np.linalg.norm(mesh.vertices_mm[start] - mesh.vertices_mm[end], axis=1)
    weight = 1.0 / np.maximum(length, 1e-3 * length.mean())
    near = sparse.csr_matrix((weight, (start, end)), shape=(count, count))
    total = np.asarray(near.sum(axis=1)).ravel()
    mean_length = np.bincount(start, length, count) / np.bincount(start, minlength=count)
    pull = sparse.identity(count) - sparse.diags(1.0 / total) @ near
    return sparse.csr_matrix(sparse.diags(1.0 / np.maximum(mean_length, 1e-3 * length.mean())) @ pull)


def _leads_on(film: Mesh, faces: IntArray, hole: IntArray, fill: BoolArray) -> BoolArray:
    """For every hole whether the faces around it point, on average, where the film at its rim does."""
    count = int(hole.max()) + 1
    normals = face_normals(film)
    sums = []
    for side in (fill, ~fill):
        total = np.zeros((count, 3))
        for k in range(3):
            mine = hole[faces[:, k]]
            np.add.at(total, mine[side & (mine >= 0)], normals[side & (mine >= 0)])
        sums.append(total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12))
    return np.asarray((sums[0] * sums[1]).sum(axis=1) > LEADS_ELSEWHERE)


def _pressed_in(plate: Mesh, hole: IntArray, fresh: BoolArray) -> Mesh:
    """The plate with those wide holes pressed into the box of the rims that stick out of it by no more than scatter."""
    seen_mm = plate.vertices_mm[~fresh]
    inside = np.clip(plate.vertices_mm, seen_mm.min(axis=0), seen_mm.max(axis=0))
    beyond_mm, widths_mm = _beyond_mm(plate, hole, fresh), _widths_mm(plate, hole, fresh)
    pressed = (beyond_mm < SCATTER_MM) & (widths_mm > WIDE_MM)
    return Mesh(np.where((fresh & pressed[hole])[:, None], inside, plate.vertices_mm), plate.faces)


def _bulges_out(film: Mesh, plate: Mesh, hole: IntArray, fresh: BoolArray) -> BoolArray:
    """For every hole whether it is wide and its plate leaves the box of the rims, and is not believed."""
    widths_mm, count = _widths_mm(plate, hole, fresh), int(hole.max()) + 1
    away = (plate.vertices_mm - film.vertices_mm)[fresh]
    total = np.column_stack([np.bincount(hole[fresh], away[:, k], count) for k in range(3)])
    mean_mm = np.linalg.norm(total, axis=1) / np.maximum(np.bincount(hole[fresh], minlength=count), 1)
    believed = (mean_mm > BELIEVED_MM) & (widths_mm < WIDEST_MM)
    return np.asarray((_beyond_mm(plate, hole, fresh) > 0.0) & (widths_mm > WIDE_MM) & ~believed)


def _beyond_mm(plate: Mesh, hole: IntArray, fresh: BoolArray) -> Array:
    """How far each hole's plate reaches beyond the box of the surface beside the holes."""
    seen_mm, reach = plate.vertices_mm[~fresh], np.zeros(int(hole.max()) + 1)
    out = np.maximum(seen_mm.min(axis=0) - plate.vertices_mm, plate.vertices_mm - seen_mm.max(axis=0)).max(axis=1)
    np.maximum.at(reach, hole[fresh], out[fresh])
    return reach


def _widths_mm(mesh: Mesh, hole: IntArray, fresh: BoolArray) -> Array:
    """Twice how far each hole's rim reaches from its middle: the same in any pose, which a box around it is not."""
    count = int(hole.max()) + 1
    rim = np.flatnonzero((hole >= 0) & ~fresh)
    number = np.bincount(hole[rim], minlength=count)
    total = np.column_stack([np.bincount(hole[rim], mesh.vertices_mm[rim, k], count) for k in range(3)])
    middle: Array = total / np.maximum(number, 1)[:, None]
    reach = np.zeros(count)
    np.maximum.at(reach, hole[rim], np.linalg.norm(mesh.vertices_mm[rim] - middle[hole[rim]], axis=1))
    return 2.0 * reach
