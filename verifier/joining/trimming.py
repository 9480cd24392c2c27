"""What of one side of a large part is the part: the flange that the support left along its rim is cut away.

   face                      the face is level, the wall steep, and what is level again past the wall is support
____________
            \\  wall
             |
            / ____ skirt
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage
from scipy.spatial import cKDTree

from verifier.mending.edges import BORDER, Edges, components, pair_edges
from verifier.mending.welding import equal_corners
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_areas_mm2, face_normals, marked_once, touching

# Cosine to the mean normal above which a place is level. A wall meets a support at half a right angle or more, so the
# crease between them is cut where it has turned half-way (cos 53 degrees).
LEVEL = 0.6
# The rim is looked at this far inward, as a share of the part's length: a skirt of 25 mm and 44 mm of face on 1.2 m.
RIM_SHARE = 0.058
# A normal that strays more than this from its neighbours' is scatter, and is averaged first.
QUIET_RAD = 0.16

# A skirt that hangs on the face is a hundredth of what is looked at: one face of ten shows whether there is any.
LOOKED_AT, LEAST_LEAK = 10, 0.003
# Which walls may be nearest is told in cells of so many spacings.
PLAN_SPACINGS = 6.0
# A wall that is thought to part face and skirt has at least this many faces in one piece: some five spacings of rim.
LEAST_WALL_FACES = 20


@dataclass(frozen=True, slots=True)
class Rim:
    """The faces near the rim of one side.

    mesh : the side, corners shared; up : (3,) its mean normal
    faces : (k,) numbers of the faces near the rim
    edges : their edge table, by position in `faces`
    normals : (k, 3), quietened
    spacing_mm : middle length of their sides
    """

    mesh: Mesh
    up: Array
    faces: IntArray
    edges: Edges
    normals: Array
    spacing_mm: float


@dataclass(frozen=True, slots=True)
class Cut:
    """What was decided of every face of a side, each (m,) bool; and what was worked out for it.

    vectors_mm2 : (m, 3) outward normals as long as twice the area
    """

    kept: BoolArray
    skirt: BoolArray
    debris: BoolArray
    vectors_mm2: Array

    @property
    def up(self) -> Array:
        """Mean normal of what is kept."""
        return mean_normal(self.vectors_mm2, self.kept)

    def area_mm2(self, chosen: BoolArray) -> float:
        """Surface of some faces."""
        return 0.5 * float(np.linalg.norm(self.vectors_mm2[chosen], axis=1).sum())


def shared_corners(mesh: Mesh) -> Mesh:
    """The same faces, in their order, over corners that are shared where they are equal."""
    if len(mesh.vertices_mm) < 0.8 * len(mesh.faces):
        return mesh
    first, number = equal_corners(mesh.vertices_mm)
    return Mesh(mesh.vertices_mm[first], number[mesh.faces])


def largest_piece(mesh: Mesh, vectors_mm2: Array) -> BoolArray:
    """The faces of the piece with the most surface, (m,)."""
    faces = mesh.faces
    _, piece = components(len(mesh.vertices_mm), faces[:, [0, 1]].ravel(), faces[:, [1, 2]].ravel())
    area = np.bincount(piece[faces[:, 0]], np.linalg.norm(vectors_mm2, axis=1))
    return np.asarray(piece[faces[:, 0]] == int(area.argmax()))


def mean_normal(vectors_mm2: Array, chosen: BoolArray) -> Array:
    """Direction of the vector area: it depends on the rim alone, so both sides of a part share it (Stokes)."""
    total = vectors_mm2[chosen].sum(axis=0)
    return np.asarray(total / np.linalg.norm(total))


def plane_axes(up: Array) -> Array:
    """Two unit vectors across `up`, and it: rows of a right-handed frame, (3, 3)."""
    across = np.cross(up, np.eye(3)[int(np.abs(up).argmin())])
    across /= np.linalg.norm(across)
    return np.stack([across, np.cross(up, across), up])


def rim_of(mesh: Mesh, chosen: BoolArray, up: Array) -> Rim:
    """The faces near the rim, found in plan: a part's own holes are filled first."""
    flat = mesh.vertices_mm @ plane_axes(up)[:2].T
    reach_mm = _length_mm(flat) * RIM_SHARE
    near = near_outside(flat, flat, mesh.faces[chosen], reach_mm, cell_mm=reach_mm / 16.0)
    faces = np.flatnonzero(chosen & ~touching(mesh.faces, ~near))
    corners = mesh.faces[faces]
    edges = pair_edges(corners, len(mesh.vertices_mm))
    sides = np.linalg.norm(mesh.vertices_mm[corners[:, 0]] - mesh.vertices_mm[corners[:, 1]], axis=1)
    normals = face_normals(Mesh(mesh.vertices_mm, corners))
    return Rim(mesh, up, faces, edges, _quiet(normals, corners, edges, len(mesh.vertices_mm)), float(np.median(sides)))


def _length_mm(flat: Array) -> float:
    return float(np.linalg.norm(np.ptp(flat, axis=0)))


def near_outside(asked: Array, flat: Array, faces: IntArray, reach_mm: float, cell_mm: float) -> BoolArray:
    """Which places in plan lie within reach of the outside of some faces, whose own holes are filled first.

    asked : (q, 2); flat : (n, 2) the corners of the faces in plan; gaps of four cells are closed
    """
    low = np.minimum(flat.min(axis=0), asked.min(axis=0)) - 4 * cell_mm
    at = ((asked - low) / cell_mm).astype(np.int64)
    high = np.maximum(flat.max(axis=0), asked.max(axis=0))
    plan = np.zeros(((high - low) / cell_mm).astype(np.int64) + 6, dtype=bool)
    for points in (flat[faces[:, 0]], middles_of(flat, faces)):
        cell = ((points - low) / cell_mm).astype(np.int64)
        plan[cell[:, 0], cell[:, 1]] = True
    plan = ndimage.binary_fill_holes(ndimage.binary_closing(plan, iterations=2))
    away = ndimage.distance_transform_edt(plan) * cell_mm
    return np.asarray(away[at[:, 0], at[:, 1]] <= reach_mm)


def middles_of(points_mm: Array, faces: IntArray) -> Array:
    """Middles of faces in plan or in space, (m, 2) or (m, 3); corner after corner, in a third of the time of `mean`."""
    a, b, c = (np.take(points_mm, faces[:, k], axis=0) for k in range(3))
    return np.asarray((a + b + c) / 3.0)


def _quiet(normals: Array, corners: IntArray, edges: Edges, count: int) -> Array:
    """Normals averaged over the neighbours of every corner, as often as the scatter asks for and at most twice."""
    low = edges.paired
    for _ in range(2):
        turn = np.einsum("ij,ij->i", normals[low // 3], normals[edges.twin[low] // 3])
        if np.arccos(np.clip(np.median(turn), -1, 1)) < QUIET_RAD:
            break
        at = np.column_stack([np.bincount(corners.ravel(), np.repeat(normals[:, k], 3), count) for k in range(3)])
        normals = at[corners].sum(axis=1)
        normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return normals


def trim(mesh: Mesh, vectors: Array) -> tuple[Cut, Rim]:
    """Tell part from skirt and debris, and the rim that was looked at for it.

    vectors : (m, 3) normals of the faces as long as twice their area
    """
    body = largest_piece(mesh, vectors)
    rim = rim_of(mesh, body, mean_normal(vectors, body))
    off = skirt_of(rim)
    skirt = np.zeros(len(mesh.faces), dtype=bool)
    skirt[rim.faces[off]] = True
    kept = body & ~skirt
    return Cut(kept, skirt, ~body, vectors), rim


def skirt_of(rim: Rim) -> BoolArray:
    """Which of the faces near the rim are support, (k,)."""
    level = rim.normals @ rim.up > LEVEL
    skirt = _level_past_walls(rim, level)
    return skirt | _cut_off(rim, skirt)


def _level_past_walls(rim: Rim, level: BoolArray) -> BoolArray:
    """Level patches that end at the border of the scan, other than the face itself; and what leaked out of the face."""
    patches, patch = _patches(rim, level)
    area = np.bincount(patch[level], face_areas_mm2(Mesh(rim.mesh.vertices_mm, rim.edges.faces))[level], patches)
    face = int(area.argmax())
    at_border = np.zeros(patches, dtype=bool)
    at_border[patch[rim.edges.border // 3]] = True
    small = area < (3.0 * rim.spacing_mm) ** 2
    skirt = level & (patch != face) & (at_border & ~small)[patch]
    return np.asarray(skirt | (level & (patch == face) & _past_wall(rim, level)))


def _patches(rim: Rim, chosen: BoolArray) -> tuple[int, IntArray]:
    low = rim.edges.paired
    left, right = low // 3, rim.edges.twin[low] // 3
    both = chosen[left] & chosen[right]
    return components(len(chosen), left[both], right[both])


def _past_wall(rim: Rim, level: BoolArray) -> BoolArray:
    """Level faces that lie outward of the wall nearest to them, and lower: a skirt bridged to the face."""
    middle = middles_of(rim.mesh.vertices_mm, rim.edges.faces) @ plane_axes(rim.up).T
    facing = rim.normals @ plane_axes(rim.up)[:2].T
    wall = _of_some_size(rim, ~level & (np.linalg.norm(facing, axis=1) > LEVEL))
    past = np.zeros(len(level), dtype=bool)
    if not wall.any():
        return past
    # Most of what is asked lies far from any wall: cells cut in halves take a quarter of the time of balanced ones.
    tree = cKDTree(middle[wall, :2], balanced_tree=False, compact_nodes=False)

    def is_past(asked: IntArray) -> BoolArray:
        away, found = tree.query(middle[asked, :2])
        foot = np.flatnonzero(wall)[found]
        step = middle[asked] - middle[foot]
        outward = np.einsum("ij,ij->i", step[:, :2], facing[foot]) / np.linalg.norm(facing[foot], axis=1)
        return np.asarray((outward > np.maximum(0.8 * away, 0.7 * rim.spacing_mm)) & (step[:, 2] < 0.0))

    asked = np.flatnonzero(level)
    if is_past(asked[::LOOKED_AT]).mean() > LEAST_LEAK:
        low = asked[_below_walls_near(middle[asked], middle[wall], PLAN_SPACINGS * rim.spacing_mm)]
        past[low] = is_past(low)
    return past


def _below_walls_near(asked_mm: Array, wall_mm: Array, cell_mm: float) -> BoolArray:
    """Whether each place is lower than a wall that may be the nearest in plan; told by cells, too often if anything."""
    low = np.minimum(asked_mm.min(axis=0), wall_mm.min(axis=0))[:2]
    at, of_wall = (((points[:, :2] - low) / cell_mm).astype(np.int64) for points in (asked_mm, wall_mm))
    shape = np.maximum(at.max(axis=0), of_wall.max(axis=0)) + 1
    cell, walled = (np.ravel_multi_index((each[:, 0], each[:, 1]), shape) for each in (at, of_wall))
    top = np.full(shape.prod(), -np.inf)
    np.maximum.at(top, walled, wall_mm[:, 2])
    here, there = marked_once(cell, len(top)), marked_once(walled, len(top))
    here_at, there_at = (np.column_stack(np.unravel_index(each, shape)).astype(np.float64) for each in (here, there))
    tree = cKDTree(there_at)
    # A place and a wall lie within half a diagonal of the middles of their cells each: twice that, there and back.
    near = tree.query_ball_point(here_at, tree.query(here_at)[0] + 2.0 * np.sqrt(2.0) + 1e-9)
    highest = np.empty(len(top))
    highest[here] = [top[there[each]].max() for each in near]
    return np.asarray(asked_mm[:, 2] < highest[cell])


def _of_some_size(rim: Rim, chosen: BoolArray) -> BoolArray:
    """Those of the faces that hang together by many: single steep faces of a level place are scatter."""
    patches, patch = _patches(rim, chosen)
    return np.asarray(chosen & (np.bincount(patch[chosen], minlength=patches) >= LEAST_WALL_FACES)[patch])


def _cut_off(rim: Rim, skirt: BoolArray) -> BoolArray:
    """What hangs on the part no more once the skirt is gone."""
    patches, patch = _patches(rim, ~skirt)
    held = np.zeros(patches, dtype=bool)
    held[patch[goes_on(rim)]] = True
    held[int(np.bincount(patch[~skirt], minlength=patches).argmax())] = True
    return np.asarray(~skirt & ~held[patch])


def goes_on(rim: Rim) -> BoolArray:
    """Which of the faces near the rim share a corner with the rest of the side, (k,)."""
    rest = np.ones(len(rim.mesh.faces), dtype=bool)
    rest[rim.faces] = False
    corner = np.zeros(len(rim.mesh.vertices_mm), dtype=bool)
    corner[rim.mesh.faces[rest]] = True
    return touching(rim.edges.faces, corner)


def is_border(edges: Edges) -> BoolArray:
    """Which faces end at the border, (k,)."""
    return np.asarray((edges.twin.reshape(-1, 3) == BORDER).any(axis=1))
