"""Parts with bores and a thin wall, and the faults a turntable scan puts into them, one short function each.

Truth is known by construction: the number of bores is the genus, and the volume is that of the part before the fault.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import hypot

import manifold3d
import numpy as np

from verifier.mesh import Mesh, face_vectors_mm2, touching, volume_mm3
from verifier.reading.scan import LengthUnit, Scan, Source

# Edge of the triangles. Half the 1 mm rib, so that both of its sides are there.
EDGE_MM = 0.5


@dataclass(frozen=True)
class Part:
    """A closed part and what is known of it."""

    mesh: Mesh
    bores: int
    bore_mm: tuple[float, float]  # middle of the bore whose wall can be taken away
    bore_radius_mm: float
    thickness_mm: float
    in_bores_mm: tuple[tuple[float, float, float], ...] = ()  # on the axes: air, as long as the bore is open
    in_walls_mm: tuple[tuple[float, float, float], ...] = ()  # in the middle of thin walls: material

    @property
    def euler(self) -> int:
        return 2 - 2 * self.bores

    @property
    def volume_mm3(self) -> float:
        return volume_mm3(self.mesh)

    def but(self, mesh: Mesh) -> "Part":
        return replace(self, mesh=mesh)


# Asked 150,000 times for a part: written out, with no loop and no array, they take a seventh of the time.
def box(p, low, high):
    x, y, z = p
    return max(low[0] - x, x - high[0], low[1] - y, y - high[1], low[2] - z, z - high[2])


def bore(p, x, y, radius):
    return radius - hypot(p[0] - x, p[1] - y)


@lru_cache
def latch_lever() -> Part:
    """A plate with three bores and a 1 mm rib standing on it."""

    def inside(x, y, z):
        p = (x, y, z)
        plate = max(box(p, (0, 0, 0), (40, 16, 5)), bore(p, 8, 8, 3), bore(p, 32, 8, 2), bore(p, 22, 8, 1.5))
        return -min(plate, box(p, (3, 1, 4), (37, 2, 9)))

    rib = tuple((x, 1.5, z) for x in (5.0, 12.0, 20.0, 28.0, 35.0) for z in (5.8, 7.0, 8.2))
    axes = tuple((x, 8.0, z) for x in (8.0, 22.0, 32.0) for z in (0.5, 2.5, 4.5))
    return Part(_part(inside, (-1, -1, -1, 41, 17, 10)), 3, (8.0, 8.0), 3.0, 5.0, axes, rib)


@lru_cache
def pump_rocker() -> Part:
    """A round hub and an arm, one bore in each."""

    def inside(x, y, z):
        p = (x, y, z)
        hub = max(hypot(x, y) - 8, -z, z - 8)
        arm = box(p, (0, -4, 0), (24, 4, 4))
        return -max(min(hub, arm), bore(p, 0, 0, 4), bore(p, 20, 0, 2))

    axes = (*((0.0, 0.0, z) for z in (0.5, 4.0, 7.5)), *((20.0, 0.0, z) for z in (0.5, 2.0, 3.5)))
    walls = tuple((20.0, y, z) for y in (-3.0, 3.0) for z in (1.0, 3.0))
    return Part(_part(inside, (-9, -9, -1, 25, 9, 9)), 2, (0.0, 0.0), 4.0, 8.0, axes, walls)


@lru_cache
def fence_clip() -> Part:
    """A fork with a bore through both of its arms and a web of 1 mm between them."""

    def inside(x, y, z):
        p = (x, y, z)
        fork = max(box(p, (0, 0, 0), (26, 12, 12)), -box(p, (8, -1, 3), (27, 13, 9)))
        web = box(p, (6, 5.5, 2), (16, 6.5, 10))
        return -max(min(fork, web), bore(p, 21, 6, 2.5))

    axes = tuple((21.0, 6.0, z) for z in (0.5, 1.5, 2.5, 9.5, 10.5, 11.5))
    web = tuple((x, 6.0, z) for x in (9.5, 11.5, 14.0) for z in (4.0, 6.0, 8.0))
    return Part(_part(inside, (-1, -1, -1, 27, 13, 13)), 2, (21.0, 6.0), 2.5, 3.0, axes, web)


@lru_cache
def seat_armrest() -> Part:
    """A rounded shell of 2 mm, open below, with two screw holes in its top."""

    def inside(x, y, z):
        p = (x, y, z)
        off = max(4.0 - x, x - 36.0, 0.0), max(4.0 - y, y - 12.0, 0.0), max(-9.0 - z, z - 5.0, 0.0)
        round_bar = hypot(*off) - 4.0
        hollow = box(p, (3, 3, -1), (37, 13, 6.5))
        return -max(round_bar, -z, -hollow, bore(p, 10, 8, 1.75), bore(p, 30, 8, 1.75))

    axes = tuple((x, 8.0, z) for x in (10.0, 30.0) for z in (7.0, 7.75, 8.5))
    walls = (*((x, y, 2.0) for x in (12.0, 20.0, 28.0) for y in (1.5, 14.5)), (1.5, 8.0, 2.0), (20.0, 8.0, 7.75))
    return Part(_part(inside, (-1, -1, -1, 41, 17, 10)), 2, (10.0, 8.0), 1.75, 9.0, axes, walls)


@lru_cache
def pump_cam() -> Part:
    """A plate held over the table by a boss under it, one bore through both and one through the plate."""

    def inside(x, y, z):
        p = (x, y, z)
        solid = min(box(p, (-10, -9, 4), (22, 9, 9)), max(hypot(x, y) - 6, -z, z - 5))
        return -max(solid, bore(p, 0, 0, 3), bore(p, 15, 0, 2))

    axes = (*((0.0, 0.0, z) for z in (0.5, 4.0, 8.5)), *((15.0, 0.0, z) for z in (4.5, 8.5)))
    return Part(_part(inside, (-11, -10, -1, 23, 10, 10)), 2, (0.0, 0.0), 3.0, 9.0, axes)


@lru_cache
def rounded_plate() -> Part:
    """A plate with corners of 0.6 mm all round, and one bore through it."""

    def inside(x, y, z):
        off = max(abs(x) - 13.4, 0.0), max(abs(y) - 8.4, 0.0), max(0.6 - z, z - 5.4, 0.0)
        return -max(hypot(*off) - 0.6, bore((x, y, z), 5, 0, 3))

    return Part(_part(inside, (-15, -10, -1, 15, 10, 7)), 1, (5.0, 0.0), 3.0, 6.0, ((5.0, 0.0, 3.0),))


PARTS = (latch_lever, pump_rocker)
ALL_PARTS = (*PARTS, fence_clip, seat_armrest)


def _part(inside, bounds) -> Mesh:
    """The surface of an implicit part, roughened by 0.01 mm so that no two faces are exactly in one plane."""
    made = manifold3d.Manifold.level_set(inside, bounds, EDGE_MM, tolerance=0.001).to_mesh64()
    mesh = Mesh(np.array(made.vert_properties)[:, :3], np.array(made.tri_verts).astype(np.int64))
    rough = np.random.default_rng(7).normal(0.0, 0.01, mesh.vertices_mm.shape)
    return Mesh((mesh.vertices_mm + rough).astype(np.float32).astype(np.float64), mesh.faces)


def scan_of(mesh: Mesh) -> Scan:
    return Scan(mesh, LengthUnit("mm", 1.0, "file"), Source("latch_lever.stl", "0" * 64, 0, "stl"))


def turned(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """The mesh in another pose."""
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    return Mesh(mesh.vertices_mm @ turn.T + rng.normal(0.0, 20.0, 3), mesh.faces)


def middles(mesh: Mesh) -> np.ndarray:
    return mesh.corners_mm.mean(axis=1)


def some_place(mesh: Mesh, rng: np.random.Generator) -> np.ndarray:
    return mesh.vertices_mm[mesh.faces[rng.integers(len(mesh.faces))]].mean(axis=0)


def unwelded(mesh: Mesh) -> Mesh:
    """Three corners of its own for every face, as a binary STL has it."""
    return Mesh(mesh.corners_mm.reshape(-1, 3), np.arange(3 * len(mesh.faces)).reshape(-1, 3))


def with_hole(mesh: Mesh, at_mm: np.ndarray, across_mm: float) -> Mesh:
    return with_holes(mesh, [at_mm], [across_mm])


def with_holes(mesh: Mesh, places_mm: Sequence[np.ndarray], across_mm: Sequence[float]) -> Mesh:
    """Round holes, each looked for in a slab of the faces sorted along x: forty in four million take a second."""
    at = middles(mesh)
    along_x = np.argsort(at[:, 0])
    kept = np.ones(len(at), dtype=bool)
    for place, radius in zip(places_mm, 0.5 * np.asarray(across_mm), strict=True):
        slab = slice(*np.searchsorted(at[:, 0], place[0] + np.array([-radius, radius]), sorter=along_x))
        near = along_x[slab]
        kept[near[np.linalg.norm(at[near] - place, axis=1) <= radius]] = False
    return Mesh(mesh.vertices_mm, mesh.faces[kept])


def with_specks(mesh: Mesh, rng: np.random.Generator, count: int) -> Mesh:
    """Small tetrahedra floating beside the part."""
    shape = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1.0]]) * 0.3
    sides = np.array([[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    low, high = mesh.vertices_mm.min(axis=0), mesh.vertices_mm.max(axis=0)
    at = np.column_stack([rng.uniform(low[:2], high[:2], (count, 2)), high[2] + 1 + np.arange(count)])
    points = (at[:, None] + shape).reshape(-1, 3)
    faces = len(mesh.vertices_mm) + (4 * np.arange(count)[:, None, None] + sides).reshape(-1, 3)
    return Mesh(np.concatenate([mesh.vertices_mm, points]), np.concatenate([mesh.faces, faces]))


def with_flipped(mesh: Mesh, flipped: np.ndarray) -> Mesh:
    faces = mesh.faces.copy()
    faces[flipped] = faces[flipped][:, ::-1]
    return Mesh(mesh.vertices_mm, faces)


def inside_out(mesh: Mesh) -> Mesh:
    return with_flipped(mesh, np.ones(len(mesh.faces), dtype=bool))


def with_duplicates(mesh: Mesh, rng: np.random.Generator, count: int) -> Mesh:
    """Some faces twice, half of the copies with their corners in another order."""
    again = mesh.faces[rng.choice(len(mesh.faces), count, replace=False)].copy()
    again[::2] = again[::2][:, [2, 1, 0]]
    return Mesh(mesh.vertices_mm, np.concatenate([mesh.faces, again]))


def with_fin(mesh: Mesh, face: int, height_mm: float = 0.8) -> Mesh:
    """One face more, standing on an edge."""
    return with_fins(mesh, np.array([face]), np.array([height_mm]))


def with_fins(mesh: Mesh, faces: np.ndarray, heights_mm: np.ndarray) -> Mesh:
    """One face more on an edge of each of some faces."""
    a, b, c = np.swapaxes(mesh.vertices_mm[mesh.faces[faces]], 0, 1)
    normals = np.cross(b - a, c - a)
    tips = 0.5 * (a + b) + heights_mm[:, None] * normals / np.linalg.norm(normals, axis=1, keepdims=True)
    fins = np.column_stack([mesh.faces[faces, :2], len(mesh.vertices_mm) + np.arange(len(faces))])
    return Mesh(np.concatenate([mesh.vertices_mm, tips]), np.concatenate([mesh.faces, fins]))


def with_flat_faces(mesh: Mesh, rng: np.random.Generator, count: int) -> Mesh:
    """Faces more without area: twice the same corner, and three corners of which two lie in one place."""
    ends = mesh.faces[rng.choice(len(mesh.faces), count, replace=False)]
    collapsed = ends[::2][:, [0, 1, 1]]
    again = np.concatenate([mesh.vertices_mm, mesh.vertices_mm[ends[1::2, 1]]])
    number = len(mesh.vertices_mm) + np.arange(len(ends[1::2]))
    needles = np.column_stack([ends[1::2, 0], ends[1::2, 1], number])
    return Mesh(again, np.concatenate([mesh.faces, collapsed, needles]))


def with_bowties(mesh: Mesh, rng: np.random.Generator, count: int) -> tuple[Mesh, list[np.ndarray]]:
    """Two corners of the surface, near and not neighbours, pinched together in one; and where."""
    vertices, faces, places = mesh.vertices_mm.copy(), mesh.faces.copy(), []
    for one in rng.choice(len(vertices), count, replace=False):
        off = np.linalg.norm(vertices - vertices[one], axis=1)
        off[with_neighbours(faces, [one], 3, len(vertices))] = np.inf
        other = int(off.argmin())
        places += [vertices[one].copy(), vertices[other].copy()]
        vertices[one] = 0.5 * (vertices[one] + vertices[other])
        faces[faces == other] = one
    return Mesh(vertices, faces), places


def with_neighbours(faces: np.ndarray, corners: Sequence[int], rings: int, count: int) -> np.ndarray:
    """A mark on each of `count` corners that is so many rings of faces from the given ones at most."""
    marked = np.zeros(count, dtype=bool)
    marked[corners] = True
    for _ in range(rings):
        around = faces[touching(faces, marked)]
        marked[:] = False
        marked[around] = True
    return marked


def with_bowtie(mesh: Mesh) -> Mesh:
    """The two sides of the thinnest place pinched together in one corner."""
    one, other = pinched(mesh)
    vertices = mesh.vertices_mm.copy()
    vertices[one] = 0.5 * (vertices[one] + vertices[other])
    return Mesh(vertices, np.where(mesh.faces == other, one, mesh.faces))


def pinched(mesh: Mesh) -> tuple[int, int]:
    """The two corners of the rib that face each other most closely."""
    on_rib = np.flatnonzero((mesh.vertices_mm[:, 2] > 6.5) & (mesh.vertices_mm[:, 2] < 8))
    near = on_rib[mesh.vertices_mm[on_rib, 1] < 1.2]
    far = on_rib[mesh.vertices_mm[on_rib, 1] > 1.8]
    apart = np.linalg.norm(mesh.vertices_mm[near][:, None] - mesh.vertices_mm[far][None], axis=2)
    i, j = np.unravel_index(int(apart.argmin()), apart.shape)
    return int(near[i]), int(far[j])


def with_inner_shell(mesh: Mesh, at_mm: np.ndarray, radius_mm: float) -> Mesh:
    ball = manifold3d.Manifold.sphere(radius_mm, 32).translate(at_mm.tolist()).to_mesh64()
    points, faces = np.array(ball.vert_properties)[:, :3], np.array(ball.tri_verts).astype(np.int64)
    return Mesh(np.concatenate([mesh.vertices_mm, points]), np.concatenate([mesh.faces, len(mesh.vertices_mm) + faces]))


def with_stray_corners(mesh: Mesh, rng: np.random.Generator, count: int) -> Mesh:
    """Corners that are not a number or infinite, in an unwelded mesh."""
    soup = unwelded(mesh)
    vertices = soup.vertices_mm.copy()
    chosen = rng.choice(len(vertices), count, replace=False)
    vertices[chosen[::2]] = np.nan
    vertices[chosen[1::2], 1] = np.inf
    return Mesh(vertices, soup.faces)


def without_underside(mesh: Mesh, above_mm: float) -> Mesh:
    """The faces that reach higher than that, as a program leaves them that cuts off what it takes for a table."""
    return Mesh(mesh.vertices_mm, mesh.faces[mesh.corners_mm[:, :, 2].max(axis=1) > above_mm])


def without_bore_wall(part: Part) -> Mesh:
    """The part with the wall of one bore not seen, from 0.7 mm behind one mouth to 0.7 mm before the other."""
    at = middles(part.mesh)
    off = np.hypot(at[:, 0] - part.bore_mm[0], at[:, 1] - part.bore_mm[1])
    unseen = (off < part.bore_radius_mm + 0.3) & (at[:, 2] > 0.7) & (at[:, 2] < part.thickness_mm - 0.7)
    return Mesh(part.mesh.vertices_mm, part.mesh.faces[~unseen])


def with_wrong_welds(mesh: Mesh, rng: np.random.Generator, count: int) -> Mesh:
    """Corners joined to corners anywhere else on the part: long spikes through everything."""
    return with_wrong_welds_at(mesh, rng, count)[0]


def with_wrong_welds_at(mesh: Mesh, rng: np.random.Generator, count: int) -> tuple[Mesh, list[np.ndarray]]:
    """The same, and the places of the corners concerned."""
    faces, chosen = mesh.faces.copy(), rng.choice(len(mesh.vertices_mm), (count, 2), replace=False)
    for one, other in chosen:
        faces[faces == one] = other
    return Mesh(mesh.vertices_mm, faces), list(mesh.vertices_mm[chosen.ravel()])


def with_fold(mesh: Mesh, at_mm: np.ndarray, reach_mm: float) -> Mesh:
    """The corners nearest to a place pushed through the surface beside them."""
    vertices = mesh.vertices_mm.copy()
    near = np.argsort(np.linalg.norm(vertices - at_mm, axis=1))[:3]
    vertices[near] += reach_mm * np.array([[1.0, 0.3, -0.2], [0.8, -0.3, 0.2], [1.1, 0.0, -0.3]])
    return Mesh(vertices, mesh.faces)


def in_two_passes(mesh: Mesh, apart_mm: float) -> Mesh:
    """The whole part twice, one copy a little beside the other, as two passes that were not merged."""
    again = mesh.vertices_mm + apart_mm * np.array([0.4, 0.3, 1.0])
    return Mesh(
        np.concatenate([mesh.vertices_mm, again]), np.concatenate([mesh.faces, len(mesh.vertices_mm) + mesh.faces])
    )


@dataclass(frozen=True)
class Passes:
    """Two passes in one mesh: the first as the part is, the second moved; and where the part was cut for both."""

    mesh: Mesh
    shift_mm: np.ndarray
    height_mm: np.ndarray  # of every corner of the part along the cut's normal, 0 in the middle of the overlap
    overlap_mm: float

    def volumes_mm3(self, part: Mesh) -> tuple[float, float]:
        """The part's, and what the second pass's share of the surface sweeps by its shift (divergence theorem).

        Two figures: the overlap taken from the first pass, and from the second.
        """
        height, swept = self.height_mm[part.faces].mean(axis=1), 0.5 * face_vectors_mm2(part) @ self.shift_mm
        first, second = (float(swept[height > edge * self.overlap_mm / 2].sum()) for edge in (1, -1))
        return volume_mm3(part) + first, volume_mm3(part) + second


def in_two_partial_passes(mesh: Mesh, rng: np.random.Generator, apart_mm: float, overlap_mm: float) -> Passes:
    """Cut across with an overlap; the second pass is moved and scatters anew.

    The cut leans by up to 35 degrees: lying flatter it would run along a face, and one pass would see nearly all.
    """
    shift = rng.normal(size=3)
    shift /= np.linalg.norm(shift)
    turn, lean = rng.uniform(0.0, 2 * np.pi), rng.uniform(-0.6, 0.6)
    along = np.array([np.cos(turn) * np.cos(lean), np.sin(turn) * np.cos(lean), np.sin(lean)])
    height = (mesh.vertices_mm - mesh.vertices_mm.mean(axis=0)) @ along
    height = height - np.median(height)
    of_face = height[mesh.faces].mean(axis=1)
    again = mesh.vertices_mm + apart_mm * shift + rng.normal(0.0, 0.01, mesh.vertices_mm.shape)
    faces = mesh.faces[of_face < overlap_mm / 2], len(again) + mesh.faces[of_face > -overlap_mm / 2]
    both = Mesh(np.concatenate([mesh.vertices_mm, again]), np.concatenate(faces))
    return Passes(both, apart_mm * shift, height, overlap_mm)


def in_two_halves(mesh: Mesh, at_x_mm: float, apart_mm: float) -> Mesh:
    """Cut across, with a gap of one ragged row of faces and the halves moved apart by as much again."""
    x = middles(mesh)[:, 0]
    left, right = mesh.faces[x < at_x_mm], mesh.faces[x >= at_x_mm]
    moved = mesh.vertices_mm + np.array([apart_mm, 0.0, 0.0])
    return Mesh(np.concatenate([mesh.vertices_mm, moved]), np.concatenate([left, len(moved) + right]))


TABLE_MM = 0.3  # height of the table's surface on a part that starts at 0


def above_the_table_mm3(mesh: Mesh) -> float:
    """Volume of the part above the table's surface, by the solid modelling kernel."""
    part = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_mm, mesh.faces.astype(np.uint64)))
    return float(part.trim_by_plane((0.0, 0.0, 1.0), TABLE_MM).volume())


def on_a_table(mesh: Mesh, width_mm: float, edge_mm: float = EDGE_MM) -> Mesh:
    """The part as seen from above on a table: no underside, and a flange of table around it and inside its bores.

    edge_mm : longest side of the table's faces
    """
    low, high = mesh.vertices_mm.min(axis=0), mesh.vertices_mm.max(axis=0)
    flange = manifold3d.Manifold.cube((high[0] - low[0] + 2 * width_mm, high[1] - low[1] + 2 * width_mm, 2.0))
    flange = flange.translate((low[0] - width_mm, low[1] - width_mm, TABLE_MM - 2.0)).refine_to_length(edge_mm)
    part = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_mm, mesh.faces.astype(np.uint64)))
    both = (part + flange).to_mesh64()
    points, faces = np.array(both.vert_properties)[:, :3], np.array(both.tri_verts).astype(np.int64)
    seen = points[faces][:, :, 2].min(axis=1) > TABLE_MM - 0.1
    return Mesh(points, faces[seen])
