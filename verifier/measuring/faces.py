"""Sizes between flat faces: thicknesses, steps, angles, and the distance of a bore to an edge."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np
from scipy.spatial import cKDTree

from verifier.finding.feature import Cylinder, Features, Plane
from verifier.measuring.candidate import Candidate, root_sum_square, unit
from verifier.measuring.flats import surest_of_each_face
from verifier.mesh import Array
from verifier.rulebook.sheet import SheetRow

# Faces count as parallel up to this angle: more than the draft of moulded walls (0.5 to 2 degrees, common practice),
# less than any wall that is meant to be a wedge.
PARALLEL_FACES_DEG = 3.0
# An axis lies along a face up to this angle: the axis of a shallow bore is itself uncertain by some degrees.
AXIS_ALONG_FACE_DEG = 6.0
# Two patches of one face, cut apart by a rib, lie in one plane within the flatness of a moulded face: that is no step.
LEAST_GAP_MM = 0.2
# An angle is measured where two faces meet; between them lies at most a blend of this radius or so.
BLEND_MM = 5.0
# Faces that look away from each other and close up to this angle are a wedge, whose sides need not meet.
WEDGE_DEG = 45.0
# An angle further off than this is not the one that was read, misread or not.
NEAR_DEG = 5.0
# What the jaws of a calliper rest on: a strip about 3 mm by 10 mm. Less overlap than this is less than fully seen.
JAW_AREA_MM2 = 30.0


def thickness_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Planes that look away from each other with material between and face each other over some area."""
    return face_pairs(features.planes)


def face_pairs(planes: Sequence[Plane]) -> list[Candidate]:
    """The thickness between every two planes that have one."""
    pairs = ((a, b) for a, b in combinations(planes, 2) if _gap_mm(a, b, facing=-1.0) > LEAST_GAP_MM)
    found = (_thickness(a, b) for a, b in pairs if _boxes_overlap(a, b))
    return surest_of_each_face((candidate for candidate in found if candidate is not None), planes)


def gap_between(a: Plane, b: Plane) -> Candidate | None:
    """The room between two planes that look at each other over some area; None where they do not."""
    if _gap_mm(a, b, facing=-1.0) > -LEAST_GAP_MM or not _boxes_overlap(a, b):
        return None
    found = _thickness(a, b)
    return None if found is None else replace(found, walls=-2)


def step_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Planes that look the same way at different heights."""
    pairs = (pair for pair in combinations(features.planes, 2) if abs(_gap_mm(*pair, facing=1.0)) > LEAST_GAP_MM)
    return surest_of_each_face((_step(a, b) for a, b in pairs), features.planes)


def angle_candidates(features: Features, row: SheetRow) -> list[Candidate]:
    """Pairs of planes that meet (but for a blend) or taper, in degrees: the angle between them and its supplement.

    The sheet does not say which of the two the protractor was laid to. Only pairs near the row's angle are looked at.
    """
    size = row.reading or row.nominal
    angles = [angle for a, b in combinations(features.planes, 2) for angle in _angles(a, b)]
    near = [angle for angle in angles if size is not None and abs(angle.value - size) < NEAR_DEG]
    plane = {plane.name: plane for plane in features.planes}
    joined = [angle for angle in near if _taper_or_meet(*(plane[name] for name in angle.features))]
    return surest_of_each_face(joined, features.planes)


def edge_candidates(features: Features, bore: Cylinder) -> list[Candidate]:
    """Every plane along the bore's axis: one coated wall, thicker when the plane looks away from the bore."""
    along = np.sin(np.radians(AXIS_ALONG_FACE_DEG))
    edges = (_edge(bore, plane) for plane in features.planes if abs(float(bore.axis @ plane.normal)) < along)
    return surest_of_each_face(edges, features.planes)


def _gap_mm(a: Plane, b: Plane, *, facing: float) -> float:
    """How far a lies beyond b along a's normal; 0 when their normals do not agree (facing 1) or oppose (facing -1)."""
    if facing * float(a.normal @ b.normal) < np.cos(np.radians(PARALLEL_FACES_DEG)):
        return 0.0
    return float(a.normal @ (a.centre_mm - b.centre_mm))


def _boxes_overlap(a: Plane, b: Plane) -> bool:
    """Whether the patches' rectangles overlap seen along the normal: cheap, before the points are compared."""
    across = _square_to(a.normal)
    pa, pb = a.points_mm @ across.T, b.points_mm @ across.T
    return bool(np.all(pa.min(0) <= pb.max(0)) and np.all(pb.min(0) <= pa.max(0)))


def _square_to(direction: Array) -> Array:
    """Two unit vectors square to a direction and to each other, (2, 3)."""
    first = unit(np.cross(direction, np.eye(3)[np.argmin(np.abs(direction))]))
    return np.stack([first, np.cross(direction, first)])


def _thickness(a: Plane, b: Plane) -> Candidate | None:
    normal = unit(a.normal - b.normal)
    small, large = sorted((a, b), key=lambda plane: plane.area_mm2)
    facing = _points_facing(small, large, normal)
    if not len(facing):
        return None
    place = facing.mean(axis=0)
    overlap_mm2 = small.area_mm2 * len(facing) / len(small.points_mm)
    seen = min(1.0, overlap_mm2 / min(small.area_mm2, JAW_AREA_MM2))
    return _between_planes(a, b, normal, place, walls=2, seen_share=seen)


def _points_facing(small: Plane, large: Plane, normal: Array) -> Array:
    """The points of the smaller patch that have the larger one opposite, (k, 3)."""
    across = _square_to(normal)
    tree = cKDTree(large.points_mm @ across.T)
    apart_mm, _ = tree.query(small.points_mm @ across.T, distance_upper_bound=_spacing_mm(large))
    return np.asarray(small.points_mm[np.isfinite(apart_mm)], dtype=np.float64)


def _step(a: Plane, b: Plane) -> Candidate:
    small = min(a, b, key=lambda plane: plane.area_mm2)
    return _between_planes(a, b, unit(a.normal + b.normal), small.centre_mm, walls=0, seen_share=1.0)


def _between_planes(a: Plane, b: Plane, normal: Array, place: Array, *, walls: int, seen_share: float) -> Candidate:
    """Distance between two planes along a normal through a place; each tilt counts with its distance from the place."""
    heights = [float(p.normal @ (p.centre_mm - place)) / float(p.normal @ normal) for p in (a, b)]
    ends = np.stack([place + height * normal for height in heights])
    tilts = [p.u_rise(end - p.centre_mm) for p, end in zip((a, b), ends, strict=True)]
    u = root_sum_square(a.u_offset_mm, b.u_offset_mm, *tilts)
    return Candidate(abs(heights[0] - heights[1]), u, walls, tuple(sorted((a.name, b.name))), ends, seen_share)


def _angles(a: Plane, b: Plane) -> list[Candidate]:
    between_normals = float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a.normal, b.normal)), a.normal @ b.normal)))
    u = float(np.degrees(_u_turn_rad(a, b)))
    names = tuple(sorted((a.name, b.name)))
    ends = np.stack([a.centre_mm, b.centre_mm])
    return [Candidate(angle, u, 0, names, ends) for angle in (between_normals, 180.0 - between_normals)]


def _u_turn_rad(a: Plane, b: Plane) -> float:
    """Standard uncertainty of the angle: only slopes square to the line where both planes would meet turn it."""
    line = np.cross(a.normal, b.normal)
    if np.linalg.norm(line) < 1e-9:
        return root_sum_square(a.u_tilt_rad, b.u_tilt_rad)
    return root_sum_square(*(plane.u_rise(np.cross(unit(line), plane.normal)) for plane in (a, b)))


def _taper_or_meet(a: Plane, b: Plane) -> bool:
    """Whether somebody would lay a protractor to two faces: the sides of a wedge, or neighbours at an edge."""
    return float(a.normal @ b.normal) < -np.cos(np.radians(WEDGE_DEG)) or _meet(a, b)


def _meet(a: Plane, b: Plane) -> bool:
    """Whether two patches come as near as a blend leaves them."""
    reach_mm = BLEND_MM + max(_spacing_mm(a), _spacing_mm(b))
    low, high = np.maximum(a.points_mm.min(0), b.points_mm.min(0)), np.minimum(a.points_mm.max(0), b.points_mm.max(0))
    if np.any(low - high > reach_mm):
        return False
    apart_mm, _ = cKDTree(a.points_mm).query(b.points_mm, distance_upper_bound=reach_mm)
    return bool(np.any(np.isfinite(apart_mm)))


def _spacing_mm(plane: Plane) -> float:
    """Distance between the kept points of a patch: each stands for area / count, on a triangular pattern 1.1 apart."""
    return 1.1 * float(np.sqrt(plane.area_mm2 / len(plane.points_mm)))


def _edge(bore: Cylinder, plane: Plane) -> Candidate:
    """Distance from the axis to the plane, at the depth of the plane's middle."""
    along_mm = float((plane.centre_mm - bore.axis_point_mm) @ bore.axis)
    start = bore.axis_point_mm + along_mm * bore.axis
    outward_mm = float(plane.normal @ (plane.centre_mm - start))
    foot = start + outward_mm * plane.normal
    tilt_mm = plane.u_rise(foot - plane.centre_mm)
    u = root_sum_square(bore.u_position_mm, plane.u_offset_mm, tilt_mm, bore.u_axis_rad * abs(along_mm))
    walls = 1 if outward_mm > 0.0 else -1
    seen = min(1.0, bore.arc_deg / 360.0)
    return Candidate(abs(outward_mm), u, walls, (bore.name, plane.name), np.stack([start, foot]), seen)
