"""A small tool taken out of a part or added to it: only the faces round it are asked, and exchanged for others."""

from dataclasses import dataclass, replace

import manifold3d
import numpy as np
from scipy import sparse
from scipy.sparse import csgraph

from verifier.correcting.reshaping.work import NEW
from verifier.mending.check import is_closed_as_written
from verifier.mesh import Array, BoolArray, IntArray, Mesh

# Faces this near to the tool's box are taken out with those it meets, so that what it meets is well inside them.
ROUND_TOOL_MM = 0.4
# The faces taken out are closed to a solid of their own by a cone that ends so many times their width below them: that
# deep its sides are as good as square to the face, and the tool does not reach them.
CONE_WIDTHS = 20.0
# Where the tool's edge comes by an edge of the scan two corners may fall together as a file's numbers have them, in one
# of twelve scans of a million triangles. A tool that stands aside by less than 0.01 mm crosses elsewhere.
ASIDE_MM = (0.0, 0.002, 0.005, 0.009)


@dataclass(frozen=True, slots=True)
class Tool:
    """What is taken out of a part or added to it, at a flat face.

    solid : in the face's frame, heights outwards last
    turn : (3, 3) rows are that frame's axes in the mesh; origin_mm : its origin there
    added : it is added and not taken out
    """

    solid: manifold3d.Manifold
    turn: Array
    origin_mm: Array
    added: bool = False

    def local_mm(self, points_mm: Array) -> Array:
        """Places of the mesh in the face's frame, (n, 3)."""
        return np.asarray((points_mm - self.origin_mm) @ self.turn.T)

    def back_mm(self, local_mm: Array) -> Array:
        """Places of the face's frame in that of the mesh."""
        return np.asarray(local_mm @ self.turn + self.origin_mm)

    def aside(self, by_mm: float) -> "Tool":
        """The same, so far along the face; not along one of its axes, which the tool's own edges follow."""
        return replace(self, origin_mm=self.origin_mm + by_mm * np.array([0.8, 0.6]) @ self.turn[:2])

    @property
    def box_mm(self) -> tuple[Array, Array]:
        """Its least and greatest corner, in the face's frame."""
        box = np.array(self.solid.bounding_box())
        return box[:3], box[3:]


def carved(mesh: Mesh, tool: Tool) -> tuple[Mesh, IntArray] | None:
    """Mesh without tool, or with it, exactly; None where that would be no closed solid.

    The second value is the face of the mesh that each face comes from, NEW for those of the tool. What lies away from
    the tool keeps its order and every bit.
    """
    near = near_box(tool.local_mm(mesh.vertices_mm), mesh.faces, *_grown(tool.box_mm, ROUND_TOOL_MM))
    return _by_patch(mesh, tool, near) or _as_a_whole(mesh, tool)


def near_box(local_mm: Array, faces: IntArray, low: Array, high: Array) -> IntArray:
    """Faces whose own boxes meet a box, (k,); axis by axis, so that few are left to ask for the second and third."""
    near = np.arange(len(faces))
    for axis in range(3):
        at = np.ascontiguousarray(local_mm[:, axis])
        a, b, c = (at[faces[near, k]] for k in range(3))
        near = near[(np.minimum(np.minimum(a, b), c) <= high[axis]) & (np.maximum(np.maximum(a, b), c) >= low[axis])]
    return near


def _grown(box: tuple[Array, Array], by_mm: float) -> tuple[Array, Array]:
    return box[0] - by_mm, box[1] + by_mm


# --- round the tool alone ---------------------------------------------------------------------------------------------


def _by_patch(mesh: Mesh, tool: Tool, near: IntArray) -> tuple[Mesh, IntArray] | None:
    """The faces near the tool exchanged; None where they are not one sheet with one rim, or it does not close.

    A closed surface stays closed when one piece of it is exchanged for another with the same rim: so the new sheet with
    its cone is asked, which are some thousand faces, and not a million.
    """
    corners, own = np.unique(mesh.faces[near], return_inverse=True)
    sheet = Mesh(mesh.vertices_mm[corners], own.reshape(-1, 3).astype(np.int64))
    rim = _rim_of_disc(sheet)
    if rim is None:
        return None
    solid = _with_cone(sheet, rim, tool)
    for aside_mm in ASIDE_MM:
        made, source = _worked(solid, tool.aside(aside_mm))
        kept = source < len(sheet.faces)
        new_mm, faces = _numbered(Mesh(made.vertices_mm, made.faces[kept]), sheet, corners, len(mesh.vertices_mm))
        if is_closed_as_written(made) and _same_edges(border_of(faces), corners[rim]):
            source = np.where(source[kept] == NEW, NEW, near[source[kept]])
            return _exchanged(mesh, near, new_mm, faces, source)
    return None


def _exchanged(mesh: Mesh, near: IntArray, new_mm: Array, faces: IntArray, source: IntArray) -> tuple[Mesh, IntArray]:
    """The mesh with other faces in place of those near the tool; those that come back as they were keep their place."""
    same = (np.sort(faces, axis=1) == np.sort(mesh.faces[source], axis=1)).all(axis=1) & (source != NEW)
    stays: BoolArray = np.ones(len(mesh.faces), dtype=bool)
    stays[near] = False
    stays[source[same]] = True
    whole = Mesh(np.concatenate([mesh.vertices_mm, new_mm]), np.concatenate([mesh.faces[stays], faces[~same]]))
    return whole, np.concatenate([np.flatnonzero(stays), source[~same]])


def _rim_of_disc(sheet: Mesh) -> IntArray | None:
    """Directed edges of the one rim of a sheet without openings, (k, 2); None where it is something else."""
    rim, count = border_of(sheet.faces), len(sheet.vertices_mm)
    once = len(np.unique(rim[:, 0])) == len(rim) == len(np.unique(rim[:, 1]))
    edges = (3 * len(sheet.faces) + len(rim)) // 2
    start, end = sheet.faces[:, [0, 1]].ravel(), sheet.faces[:, [1, 2]].ravel()
    links = sparse.coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(count, count))
    in_one = csgraph.connected_components(links, directed=False)[0] == 1
    # One piece whose corners less edges plus faces are one is a disc.
    return rim if len(rim) and once and in_one and count - edges + len(sheet.faces) == 1 else None


def border_of(faces: IntArray) -> IntArray:
    """Directed edges without an opposite, (k, 2), of faces that are part of a closed and oriented surface."""
    start, end = faces.ravel(), np.roll(faces, -1, axis=1).ravel()
    count = int(faces.max(initial=0)) + 1
    alone = ~np.isin(start * count + end, end * count + start, assume_unique=True, kind="sort")
    return np.column_stack([start[alone], end[alone]])


def _same_edges(one: IntArray, other: IntArray) -> bool:
    return np.array_equal(one[np.lexsort(one.T)], other[np.lexsort(other.T)])


def _with_cone(sheet: Mesh, rim: IntArray, tool: Tool) -> Mesh:
    """The sheet closed by faces from its rim to a tip deep below; they come last."""
    local_mm = tool.local_mm(sheet.vertices_mm)
    middle = 0.5 * (local_mm.min(axis=0) + local_mm.max(axis=0))
    deep_mm = CONE_WIDTHS * float(np.ptp(local_mm[:, :2], axis=0).max())
    tip = tool.back_mm(np.array([[middle[0], middle[1], -deep_mm]]))
    cone = np.column_stack([rim[:, ::-1], np.full(len(rim), len(sheet.vertices_mm))])
    return Mesh(np.concatenate([sheet.vertices_mm, tip]), np.concatenate([sheet.faces, cone]))


def _numbered(made: Mesh, sheet: Mesh, corners: IntArray, count: int) -> tuple[Array, IntArray]:
    """New corners, and the faces over the mesh's own corners where these are the same to the last bit.

    corners : the mesh's number of every corner of the sheet; count : how many corners the mesh has
    """
    used = np.unique(made.faces)
    names = {place.tobytes(): number for place, number in zip(sheet.vertices_mm, corners.tolist(), strict=True)}
    known = np.array([names.get(place.tobytes(), -1) for place in made.vertices_mm[used]], dtype=np.int64)
    number = np.full(len(made.vertices_mm), -1, dtype=np.int64)
    number[used] = np.where(known >= 0, known, count + np.cumsum(known < 0) - 1)
    return made.vertices_mm[used[known < 0]], number[made.faces]


# --- by the kernel ----------------------------------------------------------------------------------------------------


def _as_a_whole(mesh: Mesh, tool: Tool) -> tuple[Mesh, IntArray] | None:
    for aside_mm in ASIDE_MM:
        made, source = _worked(mesh, tool.aside(aside_mm))
        if is_closed_as_written(made):
            return made, source
    return None


def _worked(mesh: Mesh, tool: Tool) -> tuple[Mesh, IntArray]:
    """The kernel's boolean; every face has its number, so that it joins none with another."""
    own = manifold3d.Manifold.reserve_ids(1)
    body = manifold3d.Manifold(
        manifold3d.Mesh64(
            mesh.vertices_mm,
            mesh.faces.astype(np.uint64),
            run_index=np.array([0, 3 * len(mesh.faces)], dtype=np.uint64),
            run_original_id=np.array([own], dtype=np.uint32),
            face_id=np.arange(len(mesh.faces), dtype=np.uint64),
        )
    )
    solid = tool.solid.transform(np.column_stack([tool.turn.T, tool.origin_mm]))
    made = body + solid if tool.added else body - solid
    return _taken_apart(made, own)


def _taken_apart(made: manifold3d.Manifold, own: int) -> tuple[Mesh, IntArray]:
    raw = made.to_mesh64()
    source = np.full(len(raw.tri_verts), NEW, dtype=np.int64)
    ends = np.asarray(raw.run_index, dtype=np.int64) // 3
    for run, owner in enumerate(raw.run_original_id):
        if owner == own:
            source[ends[run] : ends[run + 1]] = raw.face_id[ends[run] : ends[run + 1]]
    return Mesh(np.ascontiguousarray(raw.vert_properties[:, :3]), np.asarray(raw.tri_verts, dtype=np.int64)), source
