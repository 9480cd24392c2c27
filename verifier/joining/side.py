"""One side of a large part, ready to be set against another: in a frame of its own, less its skirt."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from verifier.errors import CannotJoin
from verifier.joining.laid_together import moved
from verifier.joining.posed import Trimmed
from verifier.joining.trimming import LEVEL, Cut, Rim, is_border, near_outside, plane_axes, shared_corners, trim
from verifier.mesh import Array, BoolArray, IntArray, Mesh, face_vectors_mm2, touching
from verifier.reading.scan import Scan

# Points near the rim that are set against the other side: within this many spacings of its outermost line, in plan.
BAND_SPACINGS = 8.0
# The rim is told from the rims of holes in plan, in cells of so many spacings.
RIM_CELLS = 2.0
# An edge that lies beneath another is no outline when it is so far in or less; those further in are no rim anyway.
BENEATH_SPACINGS = 6
# A scanner rounds the crease between part and skirt over about two spacings.
CREASE_FACES = 1
# Share of the surface that must look one way, as a vector: one side of a flat part has 0.9, a half of a ball 0.5.
LEAST_ONE_WAY = 0.4
# So many corners or faces show how large a scan is and how much of it looks one way, the latter within this: ten
# standard deviations of the mean of as many unit vectors.
FEW, UNCLEAR_ONE_WAY = 20_000, 0.07
# A part longer than this across, seen from two sides, shares little more than a rim (the reference's are of 1.2 m, and
# its small ones, up to 86 mm, share their walls).
LARGE_MM = 250.0
# A rim of fewer edges is none, nor has a mesh of so few faces one.
LEAST_RIM_EDGES, LEAST_FACES = 60, 1000
ONE_SIDE_DO = "Give one scan of each side, each a little past the rim"
MOST_FACE_POINTS = 20_000


@dataclass(frozen=True, slots=True)
class Side:
    """One side in its own frame: z along its mean normal, the origin in the middle of its rim.

    to_side : (4, 4) from the scan's frame to this one
    points_mm, normals : (k, 3) corners of the part near the rim, away from where a skirt was cut off
    clean : (k,) those out of reach of a crease that a skirt made
    rim_mm : (r, 3) middles of the edges where the surface turns under or ends
    rim_out : (r, 2) away from it in plan, as long as the edge
    rim_folds : (r,) those where it was seen turning under; the others are where a skirt was cut off, or the scan ends
    face_mm : (j, 3) points of the whole side, thinned
    length_mm : the longest way across its rim
    """

    scan: Scan
    to_side: Array
    keep_faces: BoolArray
    points_mm: Array
    normals: Array
    clean: BoolArray
    rim_mm: Array
    rim_out: Array
    rim_folds: BoolArray
    face_mm: Array
    spacing_mm: float
    length_mm: float
    trimmed: Trimmed


def side_of(scan: Scan) -> Side:
    """Trim one scan and look at its rim.

    Raises CannotJoin for a scan that is no view of one side of a flat part.
    """
    mesh = shared_corners(scan.mesh)
    vectors = face_vectors_mm2(mesh)
    if len(mesh.faces) < LEAST_FACES:
        raise _no_rim(scan)
    _refuse_all_round(vectors, scan)
    cut, rim = trim(mesh, vectors)
    up = cut.up
    frame = plane_axes(up)
    ends, outward, folds = _rim_edges(mesh, cut, rim, up)
    if len(ends) < LEAST_RIM_EDGES:
        raise _no_rim(scan)
    to_side = np.eye(4)
    to_side[:3, :3], to_side[:3, 3] = frame, -frame @ ends.mean(axis=0)
    corners, normals, clean = _band_corners(mesh, cut, rim)
    points, ends = moved(mesh.vertices_mm[corners], to_side), moved(ends, to_side)
    near = _near_rim(points, ends, BAND_SPACINGS * rim.spacing_mm)
    face = moved(_thinned(mesh, cut.kept), to_side)
    return Side(
        scan=scan,
        to_side=to_side,
        keep_faces=cut.kept,
        points_mm=points[near],
        normals=(normals @ frame.T)[near],
        clean=clean[near],
        rim_mm=ends,
        rim_out=outward @ frame[:2].T,
        rim_folds=folds,
        face_mm=face,
        spacing_mm=rim.spacing_mm,
        length_mm=float(np.linalg.norm(np.ptp(ends[:, :2], axis=0))),
        trimmed=_trimmed(scan, cut),
    )


def _no_rim(scan: Scan) -> CannotJoin:
    return CannotJoin("no rim of a part can be made out in it", where=scan.source.name, do=ONE_SIDE_DO)


def is_side_of_large_part(mesh: Mesh) -> bool:
    """Whether a scan shows one side of something large and flat, so that rims are all it shares with the other side."""
    few = mesh.vertices_mm[:: max(1, len(mesh.vertices_mm) // FEW)]
    across_mm = float(np.linalg.norm(np.subtract(*np.quantile(few, [0.99, 0.01], axis=0))))
    return across_mm > LARGE_MM and _shows_one_side(mesh)


def _shows_one_side(mesh: Mesh) -> bool:
    """Whether most of the surface looks one way; all of it is asked where some of its faces do not say so clearly."""
    some = Mesh(mesh.vertices_mm, mesh.faces[:: max(1, len(mesh.faces) // FEW)])
    told = _one_way(face_vectors_mm2(some))
    if abs(told - LEAST_ONE_WAY) < UNCLEAR_ONE_WAY:
        told = _one_way(face_vectors_mm2(mesh))
    return told >= LEAST_ONE_WAY


def _one_way(vectors_mm2: Array) -> float:
    """How much of the surface looks one way: nought for one that closes, 1 for a flat."""
    area = float(np.linalg.norm(vectors_mm2, axis=1).sum())
    return float(np.linalg.norm(vectors_mm2.sum(axis=0))) / max(area, 1e-300)


def _refuse_all_round(vectors_mm2: Array, scan: Scan) -> None:
    if _one_way(vectors_mm2) < LEAST_ONE_WAY:
        what = "it shows its part from more than one side, and is no side of a large flat part"
        raise CannotJoin(what, where=scan.source.name, do=ONE_SIDE_DO)


def _rim_edges(mesh: Mesh, cut: Cut, rim: Rim, up: Array) -> tuple[Array, Array, BoolArray]:
    """Where the kept surface turns under or ends: middles, ways out as long as the edges, and which turn."""
    kept = cut.kept[rim.faces]
    rising = kept & (rim.normals @ up > 0.0)
    twin = rim.edges.twin
    beyond = (twin < 0) | ~rising[np.maximum(twin, 0) // 3]
    chosen = np.flatnonzero(np.repeat(rising, 3) & beyond)
    start, end = mesh.vertices_mm[rim.edges.start[chosen]], mesh.vertices_mm[rim.edges.end[chosen]]
    outward = np.cross(end - start, up)
    facing_out = np.einsum("ij,ij->i", outward, rim.normals[chosen // 3]) > 0.0  # not so where a crease turns up again
    middle, flat = 0.5 * (start + end), plane_axes(up)[:2].T
    cell_mm = RIM_CELLS * rim.spacing_mm
    outside = near_outside(middle @ flat, mesh.vertices_mm @ flat, rim.edges.faces[kept], 3.0 * cell_mm, cell_mm)
    good = facing_out & outside
    folds = (twin[chosen] >= 0) & kept[np.maximum(twin[chosen], 0) // 3]
    seen = _not_beneath(middle[good] @ plane_axes(up).T, outward[good] @ flat, rim.spacing_mm)
    return middle[good][seen], outward[good][seen], folds[good][seen]


def _not_beneath(at_mm: Array, outward: Array, spacing_mm: float) -> BoolArray:
    """Which edges no edge further out hides from above, (k,).

    The outline of a part is the outermost line round it. Where a scan goes on beneath it, the crease between wall and
    support folds up again and is no outline: it lies further in and lower.
    at_mm : (k, 3) middles, z up; outward : (k, 2)
    """
    way = outward / np.maximum(np.linalg.norm(outward, axis=1, keepdims=True), 1e-12)
    tree, hidden = cKDTree(at_mm[:, :2]), np.zeros(len(at_mm), dtype=bool)
    for step in range(1, BENEATH_SPACINGS + 1):
        away, near = tree.query(at_mm[:, :2] + step * spacing_mm * way, distance_upper_bound=0.75 * spacing_mm)
        one = np.flatnonzero(np.isfinite(away))
        other = near[one]
        apart = at_mm[other] - at_mm[one]
        further_out = np.einsum("ij,ij->i", apart[:, :2], way[one]) > 0.5 * spacing_mm
        alike = np.einsum("ij,ij->i", way[one], way[other]) > LEVEL
        hidden[one] |= further_out & alike & (apart[:, 2] > 0.5 * spacing_mm)
    return ~hidden


def _band_corners(mesh: Mesh, cut: Cut, rim: Rim) -> tuple[IntArray, Array, BoolArray]:
    """Corners of kept faces near the rim, not on its end, their normals, and whether no skirt is near."""
    kept = cut.kept[rim.faces]
    corners = rim.edges.faces
    tainted = np.zeros(len(mesh.vertices_mm), dtype=bool)
    tainted[corners[cut.skirt[rim.faces]]] = True
    tainted[corners[is_border(rim.edges)]] = True
    near_skirt = tainted.copy()
    for _ in range(CREASE_FACES):
        near_skirt[corners[touching(corners, near_skirt)]] = True
    normals = np.zeros_like(mesh.vertices_mm)
    vectors = cut.vectors_mm2[rim.faces[kept]]
    used = corners[kept].ravel()
    for k in range(3):
        normals[:, k] = np.bincount(used, np.repeat(vectors[:, k], 3), len(normals))
    good = np.flatnonzero((np.bincount(used, minlength=len(normals)) > 0) & ~tainted)
    length = np.linalg.norm(normals[good], axis=1)
    good, length = good[length > 0], length[length > 0]
    return good, normals[good] / length[:, None], ~near_skirt[good]


def _near_rim(points_mm: Array, rim_mm: Array, reach_mm: float) -> BoolArray:
    tree = cKDTree(rim_mm[:, :2], balanced_tree=False, compact_nodes=False)
    away, _ = tree.query(points_mm[:, :2], distance_upper_bound=reach_mm)
    return np.asarray(np.isfinite(away))


def _thinned(mesh: Mesh, kept: BoolArray) -> Array:
    """Some corners of the whole side, evenly chosen by their order."""
    used = np.zeros(len(mesh.vertices_mm), dtype=bool)
    used[mesh.faces[kept]] = True
    corners = np.flatnonzero(used)
    return mesh.vertices_mm[corners[:: max(1, len(corners) // MOST_FACE_POINTS)]]


def _trimmed(scan: Scan, cut: Cut) -> Trimmed:
    return Trimmed(scan.source.name, *(cut.area_mm2(which) for which in (cut.kept, cut.skirt, cut.debris)))


def turned_over(side: Side) -> Side:
    """The same side in a frame that looks the other way: half a turn about its x axis."""
    over = np.diag([1.0, -1.0, -1.0])
    frame = np.eye(4)
    frame[:3, :3] = over
    return replace(
        side,
        to_side=frame @ side.to_side,
        points_mm=side.points_mm @ over,
        normals=side.normals @ over,
        rim_mm=side.rim_mm @ over,
        rim_out=side.rim_out @ over[:2, :2],
        face_mm=side.face_mm @ over,
    )
