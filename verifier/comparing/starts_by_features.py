"""Starting poses from found features: a bore on a flat, with a second bore or a second flat, fixes a pose by itself."""

from dataclasses import dataclass
from itertools import combinations, permutations

import numpy as np

from verifier.comparing.pose import pose_of
from verifier.finding.feature import Cylinder, Features, Plane
from verifier.mesh import Array

MOST_PLANES = 8
MOST_CYLINDERS = 10
SQUARE_DEG = 6.0
ASKEW_DEG = 15.0
# Sizes of one part in two scans differ by coat, scale and wear; a bore's diameter by this much at most.
DIAMETER_OFF_MM, DIAMETER_OFF_SHARE = 0.4, 0.03
LENGTH_OFF_MM, LENGTH_OFF_SHARE = 0.4, 0.01
ANGLE_OFF_DEG = 3.0
MOST_STARTS = 4000


@dataclass(frozen=True, slots=True)
class _Corner:
    """A point and two directions that features fix together, and what tells it from others.

    kind : which features made it; only equal kinds are laid on each other
    frame : (3, 3) right-handed, directions as columns
    sizes : (k,) diameters, lengths and angles, each with the difference allowed, (k,)
    """

    kind: str
    at_mm: Array
    frame: Array
    sizes: tuple[float, ...]
    allowed: tuple[float, ...]


def starts_by_features(moving: Features, fixed: Features) -> Array:
    """Every pose that lays a corner of one on a like corner of the other, (k, 4, 4), the best likeness first."""
    here, there = _corners(moving), _corners(fixed)
    found = [_laid(_of_kind(here, kind), _of_kind(there, kind)) for kind in sorted({c.kind for c in here})]
    if not found:
        return np.empty((0, 4, 4))
    off, poses = (np.concatenate(column) for column in zip(*found, strict=True))
    return np.asarray(poses[np.argsort(off, kind="stable")[:MOST_STARTS]])


def _of_kind(corners: list[_Corner], kind: str) -> list[_Corner]:
    """Those of one kind."""
    return [corner for corner in corners if corner.kind == kind]


def _laid(here: list[_Corner], there: list[_Corner]) -> tuple[Array, Array]:
    """How unlike the corners of every like pair are, 0 to 1, and the pose that lays one on the other."""
    if not there:
        return np.empty(0), np.empty((0, 4, 4))
    sizes, targets = np.array([c.sizes for c in here]), np.array([c.sizes for c in there])
    allowed = np.array([c.allowed for c in here])
    off = (np.abs(sizes[:, None] - targets[None]) / allowed[:, None]).max(axis=2)
    one, other = np.nonzero(off <= 1.0)
    frames, target_frames = np.array([c.frame for c in here]), np.array([c.frame for c in there])
    turn = target_frames[other] @ frames[one].swapaxes(1, 2)
    at, target = np.array([c.at_mm for c in here])[one], np.array([c.at_mm for c in there])[other]
    return off[one, other], pose_of(turn, target - np.einsum("nij,nj->ni", turn, at))


def _corners(features: Features) -> list[_Corner]:
    planes = features.planes[:MOST_PLANES]
    cylinders = sorted(features.cylinders, key=lambda c: -c.depth_mm * c.diameter_mm)[:MOST_CYLINDERS]
    footed = [(c, p) for c in cylinders for p in planes if abs(c.axis @ p.normal) > np.cos(np.radians(SQUARE_DEG))]
    corners = [_of_three_planes(*three) for three in permutations(planes[:6], 3)]
    corners += [_of_bore_and_planes(c, p, q) for c, p in footed for q in planes]
    corners += [_of_two_bores(c, p, d) for c, p in footed for d in cylinders if d is not c]
    return [corner for corner in corners if corner is not None]


def _of_three_planes(one: Plane, two: Plane, three: Plane) -> _Corner | None:
    """Where three flats meet; their order matters, so that every way of matching them is met."""
    normals = np.stack([one.normal, two.normal, three.normal])
    if abs(np.linalg.det(normals)) < np.sin(np.radians(ASKEW_DEG)):
        return None
    at = np.linalg.solve(normals, np.array([p.offset_mm for p in (one, two, three)]))
    angles = [_angle_deg(a, b) for a, b in combinations(normals, 2)]
    handed = float(np.sign(np.linalg.det(normals)))
    return _Corner(f"flats {handed:+.0f}", at, _frame(one.normal, two.normal), tuple(angles), (ANGLE_OFF_DEG,) * 3)


def _of_bore_and_planes(cylinder: Cylinder, foot: Plane, side: Plane) -> _Corner | None:
    """A bore's middle on a flat square to it, and how far a second flat lies from there."""
    angle = _angle_deg(foot.normal, side.normal)
    if not ASKEW_DEG < angle < 180.0 - ASKEW_DEG:
        return None
    at = _foot(cylinder, foot)
    away = float(side.normal @ (at - side.centre_mm))
    sizes = (cylinder.diameter_mm, angle, away)
    allowed = (_diameter_off(cylinder), ANGLE_OFF_DEG, _length_off(away))
    return _Corner(cylinder.kind + " on flats", at, _frame(foot.normal, side.normal), sizes, allowed)


def _of_two_bores(cylinder: Cylinder, foot: Plane, other: Cylinder) -> _Corner | None:
    """A bore's middle on a flat square to it, and where a second bore's axis meets that flat."""
    if abs(other.axis @ foot.normal) < np.cos(np.radians(SQUARE_DEG)):
        return None
    at = _foot(cylinder, foot)
    across = _foot(other, foot) - at
    length = float(np.linalg.norm(across))
    if length < max(cylinder.diameter_mm, other.diameter_mm) / 2.0:
        return None
    sizes = (cylinder.diameter_mm, other.diameter_mm, length)
    allowed = (_diameter_off(cylinder), _diameter_off(other), _length_off(length))
    return _Corner(f"{cylinder.kind} and {other.kind}", at, _frame(foot.normal, across), sizes, allowed)


def _foot(cylinder: Cylinder, plane: Plane) -> Array:
    """Where the axis meets the plane."""
    along = (plane.offset_mm - plane.normal @ cylinder.axis_point_mm) / (plane.normal @ cylinder.axis)
    return np.asarray(cylinder.axis_point_mm + along * cylinder.axis)


def _frame(first: Array, second: Array) -> Array:
    across = second - first * (second @ first)
    across = across / np.linalg.norm(across)
    return np.stack([first, across, np.cross(first, across)], axis=1)


def _angle_deg(one: Array, other: Array) -> float:
    return float(np.degrees(np.arccos(np.clip(one @ other, -1.0, 1.0))))


def _diameter_off(cylinder: Cylinder) -> float:
    return DIAMETER_OFF_MM + DIAMETER_OFF_SHARE * cylinder.diameter_mm


def _length_off(length_mm: float) -> float:
    return LENGTH_OFF_MM + LENGTH_OFF_SHARE * abs(length_mm)
