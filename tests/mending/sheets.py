"""A part on a table that came as a sheet of its own: it shares no corner with the part and runs through its foot.

The part stands at z = 0 and the sheet lies near that; turn the scan afterwards for another pose.
"""

from dataclasses import dataclass

import igl
import manifold3d
import numpy as np

from verifier.mending.edges import pair_edges
from verifier.mending.loops import open_loops
from verifier.mesh import Mesh, drop_unused_vertices, face_normals, face_vectors_mm2


@dataclass(frozen=True)
class Sheet:
    """How the table came.

    height_mm : its plane over the part's foot
    edge_mm : side of its faces; width_mm : how far it reaches beyond the part; scatter_mm : of its heights
    gap_mm : how far its hole stays clear of the part, negative where it runs in under it; None without a hole
    underside : how much of the part's underside was seen: 'none', 'half' or 'all'
    below_mm : how far below the sheet the part's walls go, where no underside was seen
    """

    height_mm: float
    edge_mm: float = 1.0
    width_mm: float = 10.0
    scatter_mm: float = 0.02
    gap_mm: float | None = None
    underside: str = "none"
    below_mm: float = 0.3


def on_a_sheet(mesh: Mesh, sheet: Sheet, rng: np.random.Generator) -> Mesh:
    """The part as it was seen, and the table's sheet after it."""
    seen = as_seen(mesh, sheet)
    table = table_of(mesh, sheet, rng)
    return joined(seen, table)


def joined(one: Mesh, other: Mesh) -> Mesh:
    return Mesh(
        np.concatenate([one.vertices_mm, other.vertices_mm]),
        np.concatenate([one.faces, len(one.vertices_mm) + other.faces]),
    )


def as_seen(mesh: Mesh, sheet: Sheet) -> Mesh:
    """The part less what of its underside was not seen."""
    if sheet.underside == "all":
        return mesh
    corners = mesh.corners_mm
    looks_down = face_normals(mesh)[:, 2] < -0.7
    is_foot = looks_down & (corners[:, :, 2].max(axis=1) < 0.5)
    too_low = corners[:, :, 2].max(axis=1) < sheet.height_mm - sheet.below_mm
    unseen = is_foot | too_low
    if sheet.underside == "half":
        x = corners[:, :, 0].mean(axis=1)
        unseen &= x > np.median(x[is_foot])
    return Mesh(mesh.vertices_mm, mesh.faces[~unseen])


def table_of(mesh: Mesh, sheet: Sheet, rng: np.random.Generator) -> Mesh:
    """The sheet of table, its corners shaken; with a hole for the part where it has one."""
    low = mesh.vertices_mm.min(axis=0)[:2] - sheet.width_mm
    high = mesh.vertices_mm.max(axis=0)[:2] + sheet.width_mm
    counts = np.maximum(np.ceil((high - low) / sheet.edge_mm).astype(int), 2) + 1
    x, y = (np.linspace(low[k], high[k], counts[k]) for k in range(2))
    at = np.stack(np.meshgrid(x, y, indexing="ij"), axis=-1).reshape(-1, 2)
    at = at + rng.uniform(-0.2, 0.2, at.shape) * sheet.edge_mm
    points = np.column_stack([at, sheet.height_mm + rng.normal(0.0, sheet.scatter_mm, len(at))])
    number = np.arange(len(at)).reshape(counts)
    a, b, c, d = (each.ravel() for each in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    table = Mesh(points, np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]))
    ragged = rng.random(len(table.faces)) < 0.2
    edge = np.isin(table.faces, np.r_[number[0], number[-1], number[:, 0], number[:, -1]]).any(axis=1)
    table = Mesh(points, table.faces[~(ragged & edge)])
    if sheet.gap_mm is None:
        return drop_unused_vertices(table)
    off_mm = signed_off_mm(mesh, points, max(sheet.height_mm, 0.3))
    return drop_unused_vertices(Mesh(points, table.faces[(off_mm[table.faces] > sheet.gap_mm).all(axis=1)]))


def signed_off_mm(mesh: Mesh, points_mm: np.ndarray, at_z_mm: float) -> np.ndarray:
    """How far points over the table are from the part there, negative within."""
    level = np.column_stack([points_mm[:, :2], np.full(len(points_mm), at_z_mm)])
    inside = igl.fast_winding_number(mesh.vertices_mm, mesh.faces, level) > 0.5
    walls = mesh.faces[mesh.corners_mm[:, :, 2].min(axis=1) < at_z_mm + 0.7]
    off_mm = np.sqrt(igl.point_mesh_squared_distance(level, mesh.vertices_mm, walls)[0])
    return np.where(inside, -off_mm, off_mm)


def base_plate(thick_mm: float) -> tuple[Mesh, Mesh]:
    """A plate of 50 x 30 mm and a hub open below that ends 0.1 mm over it."""
    plate = manifold3d.Manifold.cube((50.0, 30.0, thick_mm)).refine_to_length(1.0).to_mesh64()
    hub = manifold3d.Manifold.cylinder(12.0, 7.0, 7.0, 40).translate((25.0, 15.0, thick_mm + 0.1))
    made = hub.refine_to_length(1.0).to_mesh64()
    points, faces = (np.array(each) for each in (made.vert_properties, made.tri_verts))
    foot = points[faces][:, :, 2].max(axis=1) < thick_mm + 0.2
    return (
        Mesh(np.array(plate.vert_properties)[:, :3], np.array(plate.tri_verts).astype(np.int64)),
        Mesh(points[:, :3], faces[~foot].astype(np.int64)),
    )


def flared(seen: Mesh, sheet: Sheet, by_mm: float) -> Mesh:
    """The part's walls running out on the table, as a scan draws them at the foot."""
    vectors = face_vectors_mm2(seen)
    out = np.zeros_like(seen.vertices_mm)
    for k in range(3):
        np.add.at(out, seen.faces[:, k], vectors)
    out[:, 2] = 0.0
    out /= np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-9)
    edges = pair_edges(seen.faces, len(seen.vertices_mm))
    points, faces, count = [seen.vertices_mm], [seen.faces], len(seen.vertices_mm)
    for loop in open_loops(edges):
        rim = edges.start[loop]
        ends = seen.vertices_mm[rim] + by_mm * out[rim]
        if np.median(ends[:, 2]) > sheet.height_mm + 1.0:
            continue
        ends[:, 2] = sheet.height_mm + 0.03
        end = count + np.arange(len(rim))
        ahead, end_ahead = np.roll(rim, -1), np.roll(end, -1)
        faces += [np.column_stack([ahead, rim, end]), np.column_stack([ahead, end, end_ahead])]
        points.append(ends)
        count += len(rim)
    return Mesh(np.concatenate(points), np.concatenate(faces))
