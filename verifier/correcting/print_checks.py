"""What a printer cannot make of a mesh, found before it tries: thin walls, narrow slots, overhangs, closed cavities."""

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from scipy import sparse
from scipy.sparse import csgraph
from scipy.spatial import cKDTree

from verifier.correcting.reshaping.section import clear_of_corners_mm, crossing_at, loops_of
from verifier.correcting.turning import NEAR_BED_MM
from verifier.mesh import Array, IntArray, Mesh, face_vectors_mm2, face_volumes_mm3
from verifier.rulebook.rules import Printer

# Places are taken on the surface this far apart on average, or farther where it is large.
PLACES_EVERY_MM = 0.4
PLACES_MOST = 200_000
SEED = 0  # the same mesh gives the same places
# Two places face each other when their normals oppose within this, and lie opposite when the way between them leans no
# further than one step of the places.
OPPOSITE_COSINE = -0.8
# A smaller patch, both sides together, is a corner, scatter on a rim or the ridge between two letters, and no wall.
LEAST_PATCH_MM2 = 6.0
# Smaller loops are specks.
OPENING_MM = 1.0
# Below this the two are one wall's scatter.
NOTHING_MM = 0.02


@dataclass(frozen=True, slots=True)
class PrintCheck:
    """One look at the mesh to print.

    name : 'thin wall', 'narrow slot', 'overhang', 'closed cavity', 'first layer'
    fine : nothing to be done about it
    says : a sentence, with the place from the corner of the print's box
    value, limit : what was found and what the printer's rules allow, in mm or as a share; None where nothing was found
    place_mm : (3,) in the frame of the mesh to print; None where there is no one place
    """

    name: str
    fine: bool
    says: str
    value: float | None = None
    limit: float | None = None
    place_mm: tuple[float, float, float] | None = None


def check_print(mesh: Mesh, printer: Printer) -> tuple[PrintCheck, ...]:
    """Look at a mesh that stands on z = 0 as it will be printed."""
    vectors = face_vectors_mm2(mesh)
    doubled = np.sqrt(np.einsum("ij,ij->i", vectors, vectors))
    surface = _places_on(mesh, vectors, doubled)
    facing = _facing(surface, max(printer.least_wall_mm, printer.least_feature_mm))
    return (
        _thin_wall(surface, facing, printer),
        _narrow_slot(surface, facing, printer),
        _overhang(mesh, vectors, doubled, printer),
        _cavities(mesh),
        _first_layer(mesh, printer),
    )


@dataclass(frozen=True, slots=True)
class _Surface:
    """Places spread evenly over a surface: points and unit normals (n, 3), how far apart, the area of each."""

    points: Array
    normals: Array
    apart_mm: float
    each_mm2: float


def _places_on(mesh: Mesh, vectors: Array, doubled: Array) -> _Surface:
    area_mm2 = 0.5 * float(doubled.sum())
    count = int(min(PLACES_MOST, max(1.0, area_mm2 / PLACES_EVERY_MM**2)))
    # Evenly along the running sum of areas: every face gets its share without a draw.
    edges = np.cumsum(doubled)
    faces = np.searchsorted(edges, (np.arange(count) + 0.5) / count * edges[-1])
    faces = np.minimum(faces, len(doubled) - 1)
    r, s = np.random.default_rng(SEED).random((2, count))
    root = np.sqrt(r)
    a, b, c = (mesh.vertices_mm[mesh.faces[faces, k]] for k in range(3))
    points = (1.0 - root)[:, None] * a + (root * (1.0 - s))[:, None] * b + (root * s)[:, None] * c
    return _Surface(points, vectors[faces] / doubled[faces, None], float(np.sqrt(area_mm2 / count)), area_mm2 / count)


@dataclass(frozen=True, slots=True)
class _Facing:
    """Places with another one straight opposite: which place, and how far off the other is, (k,).

    out_mm : through the air, below nought through material
    """

    places: IntArray
    out_mm: Array

    def through(self, material: bool, within_mm: float) -> tuple[IntArray, Array]:
        """Those that face each other within reach, through material or through air; and how far off."""
        depth = -self.out_mm if material else self.out_mm
        near = (depth > NOTHING_MM) & (depth < within_mm)
        return self.places[near], depth[near]


def _facing(surface: _Surface, within_mm: float) -> _Facing:
    sideways_mm = 1.5 * surface.apart_mm
    one, other = _near_and_other_way(surface, float(np.hypot(within_mm, sideways_mm)))
    faces = np.einsum("ij,ij->i", surface.normals[one], surface.normals[other]) < OPPOSITE_COSINE
    one, other = one[faces], other[faces]
    away = surface.points[other] - surface.points[one]
    along = np.einsum("ij,ij->i", away, surface.normals[one] - surface.normals[other]) / 2.0
    opposite = np.einsum("ij,ij->i", away, away) - along**2 < sideways_mm**2
    return _Facing(np.asarray(one[opposite]), np.asarray(along[opposite]))


def _near_and_other_way(surface: _Surface, within_mm: float) -> tuple[IntArray, IntArray]:
    """Pairs of places so near each other that look along different axes of space, or against each other along one.

    Two that look along the same axis lean from each other by 109 degrees at most and are not opposite: left out, they
    need not be paired, and nine pairs in ten are of that kind.
    """
    axis = np.abs(surface.normals).argmax(axis=1)
    way = 2 * axis + (np.take_along_axis(surface.normals, axis[:, None], axis=1)[:, 0] < 0.0)
    alike = [np.flatnonzero(way == each) for each in range(6)]
    trees = [(each, cKDTree(surface.points[each], balanced_tree=False)) for each in alike if len(each)]
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for (some, tree), (others, other_tree) in combinations(trees, 2):
        near = tree.sparse_distance_matrix(other_tree, within_mm, output_type="ndarray")
        pairs.append(np.column_stack([some[near["i"]], others[near["j"]]]))
    one, other = np.sort(np.concatenate(pairs), axis=1).T
    return one, other


def _narrowest(
    surface: _Surface, facing: _Facing, within_mm: float, material: bool
) -> tuple[float, float, Array] | None:
    """The least distance (a low quantile of the narrow places'), their area, and where; None where all is wider."""
    places, depth = facing.through(material, within_mm)
    distinct = np.unique(places)
    if len(distinct) * surface.each_mm2 < LEAST_PATCH_MM2:
        return None
    narrow = surface.points[places[depth <= np.quantile(depth, 0.1)]]
    at = narrow[np.argmin(np.linalg.norm(narrow - narrow.mean(axis=0), axis=1))]
    return float(np.quantile(depth, 0.05)), len(distinct) * surface.each_mm2, np.asarray(at)


def _thin_wall(surface: _Surface, facing: _Facing, printer: Printer) -> PrintCheck:
    limit = printer.least_wall_mm
    found = _narrowest(surface, facing, limit, material=True)
    if found is None:
        return PrintCheck("thin wall", True, f"No wall is thinner than {limit:g} mm, two strands.", None, limit)
    least, area, at = found
    says = (
        f"A wall is only {least:.2f} mm thick {_where(at)}, over about {area:.0f} mm² of its surface; two strands are"
        f" {limit:g} mm. Make it thicker, or slice it with thinner strands."
    )
    return PrintCheck("thin wall", False, says, least, limit, _place(at))


def _narrow_slot(surface: _Surface, facing: _Facing, printer: Printer) -> PrintCheck:
    limit = printer.least_feature_mm
    found = _narrowest(surface, facing, limit, material=False)
    if found is None:
        return PrintCheck("narrow slot", True, f"No slot is narrower than {limit:g} mm, one strand.", None, limit)
    least, _, at = found
    says = f"A slot is only {least:.2f} mm wide {_where(at)}; below {limit:g} mm, one strand, it closes up in printing."
    return PrintCheck("narrow slot", False, says, least, limit, _place(at))


def _overhang(mesh: Mesh, vectors: Array, doubled: Array, printer: Printer) -> PrintCheck:
    heights = np.ascontiguousarray(mesh.vertices_mm[:, 2])
    on_bed = sum(heights[mesh.faces[:, k]] for k in range(3)) <= 3.0 * NEAR_BED_MM
    hangs = (vectors[:, 2] < -np.sin(np.radians(printer.steepest_deg)) * doubled) & ~on_bed
    share, area = float(doubled[hangs].sum() / doubled.sum()), 0.5 * float(doubled[hangs].sum())
    if area < 1.0:
        return PrintCheck("overhang", True, "Nothing hangs over that wants a support.", share, None)
    middles = mesh.corners_mm[hangs].mean(axis=1)
    at = np.asarray(doubled[hangs] @ middles / doubled[hangs].sum())
    says = (
        f"{area:.0f} mm², {100 * share:.1f} % of the surface, leans out by more than {printer.steepest_deg:g} degrees,"
        f" about {_where(at)}: give it supports."
    )
    return PrintCheck("overhang", False, says, share, None, _place(at))


def _cavities(mesh: Mesh) -> PrintCheck:
    """Shells turned inwards: hollows without an opening, which hold powder, water or supports for good."""
    start, end = mesh.faces[:, [0, 1]].ravel(), mesh.faces[:, [1, 2]].ravel()
    count = len(mesh.vertices_mm)
    links = sparse.coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(count, count))
    pieces, number = csgraph.connected_components(links, directed=False)
    volumes = np.bincount(number[mesh.faces[:, 0]], face_volumes_mm3(mesh), pieces)
    hollow = np.flatnonzero(volumes < 0.0)
    if len(hollow) == 0:
        return PrintCheck("closed cavity", True, "It has no closed cavity.")
    largest = hollow[np.argmin(volumes[hollow])]
    at = mesh.vertices_mm[number == largest].mean(axis=0)
    says = (
        f"{len(hollow)} closed {'cavity' if len(hollow) == 1 else 'cavities'}, the largest of"
        f" {-volumes[largest]:.0f} mm³ {_where(at)}: nothing gets out of it after printing."
    )
    return PrintCheck("closed cavity", False, says, -float(volumes[largest]), None, _place(at))


def _first_layer(mesh: Mesh, printer: Printer) -> PrintCheck:
    """What runs out under the weight of the nozzle: openings in the face on the bed, counted just above its rim."""
    heights = mesh.vertices_mm[:, 2]
    found = crossing_at(mesh, heights, clear_of_corners_mm(heights, NEAR_BED_MM))
    at = found.points_mm[:, :2]
    loops = [at[loop] for loop in loops_of(found.steps)]
    openings = [loop for loop in loops if _doubled_area(loop) < 0.0 and np.ptp(loop, axis=0).max() > OPENING_MM]
    spread = printer.first_layer_spread_mm
    runs_out = f"The first layer runs out by about {spread:g} mm on each side"
    if not openings or spread == 0.0:
        return PrintCheck("first layer", True, f"{runs_out}; nothing opens on the bed.", None, spread)
    many = "the opening" if len(openings) == 1 else f"the {len(openings)} openings"
    says = f"{runs_out}: {many} on the bed {'comes' if len(openings) == 1 else 'come'} out {2 * spread:g} mm narrower"
    return PrintCheck(
        "first layer", False, f"{says} for that layer. Trim with a knife or a drill turned by hand.", spread
    )


def _doubled_area(loop: Array) -> float:
    ahead = np.roll(loop, -1, axis=0)
    return float((loop[:, 0] * ahead[:, 1] - loop[:, 1] * ahead[:, 0]).sum())


def _where(at: Array) -> str:
    return f"at {at[0]:.0f} × {at[1]:.0f} mm from the corner of the print, {at[2]:.0f} mm up"


def _place(at: Array) -> tuple[float, float, float]:
    return float(at[0]), float(at[1]), float(at[2])
