"""Pictures of the ways there are of putting scans together: each scan in its colour, red where they lie apart."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import permutations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from verifier.joining import JoinReport, Posed
from verifier.joining.feet import feet_on
from verifier.joining.fusing import reach_mm
from verifier.joining.layer import Layer, layers_of
from verifier.mending.solid import Solid
from verifier.mesh import Array, Mesh
from verifier.reporting.shown import ShownMesh, shown_mesh
from verifier.reporting.still import painted_png
from verifier.reporting.viewing import first_turn, seen_from_below

# The first scan light, as measured surface is everywhere; the others blue, green, violet in turn; red where apart.
PAINTS = np.array([(214, 211, 203), (120, 160, 196), (140, 176, 132), (170, 150, 190), (190, 24, 32)])
APART = len(PAINTS) - 1
# A place is a cell this wide, as a share of the part's length: six picture points. Scans are apart in it where their
# middle distance is over that of nearly all places of the way that fits best, and by half more.
PLACE_SHARE, NEARLY_ALL, HALF_MORE = 0.012, 0.98, 1.5
# Fewer corners in a cell are chance; and nearer than the scatter of a handheld scan nothing is apart.
LEAST_CORNERS, LEAST_APART_MM = 6, 0.15
TRIANGLES = 40_000
WIDTH, HEIGHT = 560, 270


def way_pictures(report: JoinReport | None) -> tuple[bytes, ...]:
    """One PNG a way, all from one side; none where there is one way only, or nothing to be drawn."""
    if report is None or len(report.placing.alternatives) < 2 or not report.scans_kept:
        return ()
    within_mm = reach_mm(report.scans_kept)
    ways = [layers_of(_posed(report, k), within_mm) for k in range(len(report.placing.alternatives))]
    places = [_places(layers, within_mm) for layers in ways]
    best_mm = min(float(np.quantile(off, NEARLY_ALL)) if len(off) else np.inf for _, off in places)
    apart_mm = max(LEAST_APART_MM, HALF_MORE * best_mm)
    shown = [_picture(layers, at[off > apart_mm]) for layers, (at, off) in zip(ways, places, strict=True)]
    turn = first_turn(shown[0], np.empty((0, 3)))
    turns = (turn, seen_from_below(turn))
    return tuple(painted_png(each, PAINTS, turns, WIDTH, HEIGHT) for each in shown)


def _posed(report: JoinReport, way: int) -> list[Posed]:
    poses = report.placing.alternatives[way].poses
    return [replace(each, pose=pose) for each, pose in zip(report.scans_kept, poses, strict=True)]


def _places(layers: Sequence[Layer], within_mm: float) -> tuple[Array, Array]:
    """Places that more than one scan saw, (k, 3), and how far the scans lie apart there in the middle, (k,)."""
    at, off = [np.empty((0, 3))], [np.empty(0)]
    for i, j in permutations(range(len(layers)), 2):
        if len(layers[i].patch.faces) and len(layers[j].patch.faces):
            feet = feet_on(layers[i], layers[j], within_mm)
            at.append(layers[i].patch.vertices_mm[feet.found])
            off.append(feet.off_mm[feet.found])
    points, away = np.concatenate(at), np.concatenate(off)
    length_mm = max(float(np.linalg.norm(np.ptp(layer.mesh.vertices_mm, axis=0))) for layer in layers)
    cell = np.unique(np.floor(points / (PLACE_SHARE * length_mm)), axis=0, return_inverse=True)[1].ravel()
    order = np.lexsort((away, cell))
    first = np.flatnonzero(np.r_[True, np.diff(cell[order]) > 0]) if len(cell) else np.empty(0, dtype=np.int64)
    count = np.diff(np.r_[first, len(cell)])
    middle = order[(first + count // 2)[count >= LEAST_CORNERS]]
    return points[middle], away[middle]


def _picture(layers: Sequence[Layer], spots_mm: Array) -> ShownMesh:
    """All scans in few triangles, each face with the number of its paint."""
    firsts = np.cumsum([0, *(len(layer.mesh.vertices_mm) for layer in layers)])
    mesh = Mesh(
        np.concatenate([layer.mesh.vertices_mm for layer in layers]),
        np.concatenate([layer.mesh.faces + first for layer, first in zip(layers, firsts, strict=False)]),
    )
    paint = [0, *(1 + k % (APART - 1) for k in range(len(layers) - 1))]
    of_face = np.repeat(np.array(paint, dtype=np.uint8), [len(layer.mesh.faces) for layer in layers])
    shown = shown_mesh(Solid(mesh, of_face), at_most=TRIANGLES)
    return replace(shown, origin=_spotted(shown, spots_mm))


def _spotted(shown: ShownMesh, spots_mm: Array) -> NDArray[np.uint8]:
    """The faces' paints, those near a spot painted as apart."""
    if len(spots_mm) == 0:
        return shown.origin
    points = shown.vertices_mm.astype(np.float64)
    reach_mm = PLACE_SHARE * float(np.linalg.norm(np.ptp(points, axis=0)))
    away = cKDTree(spots_mm).query(points[shown.faces].mean(axis=1), distance_upper_bound=reach_mm)[0]
    return np.where(np.isfinite(away), np.uint8(APART), shown.origin)
