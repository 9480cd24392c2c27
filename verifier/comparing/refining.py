"""Refining of poses: robust point-to-plane steps that never lay a surface on one that faces the other way.

A whole stack of poses goes through each step together. Without the look at normals a thin part's top is drawn onto its
bottom: the turn looks right to 0.1 degrees while the shift is wrong by the thickness.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from verifier.comparing.cloud import Cloud
from verifier.comparing.pose import moved, pose_of, turned, turns_about
from verifier.mesh import Array, BoolArray, IntArray

# A partner counts while its normal lies within this: 60 degrees still admits a start that is 30 degrees off on a bore.
LEAST_COSINE = 0.5
# On one face normals lie within this of each other, noise and curvature counted.
ALIKE_COSINE = 0.85


@dataclass(frozen=True, slots=True)
class Target:
    """A fixed surface to find nearest points on.

    reach_mm : a partner facing 60 degrees elsewhere counts as if it lay this much farther away; nought for place alone
    """

    cloud: Cloud
    tree: cKDTree
    reach_mm: float


@dataclass(frozen=True, slots=True)
class Partners:
    """What lies beneath each moved point, for a stack of k poses and n points.

    away_mm : (k, n) distance along the fixed normal, positive outside
    aside_mm : (k, n) distance square to it
    facing : (k, n) both face alike
    index : (k, n) of the fixed point
    places_mm : (k, n, 3) of the moved points
    """

    away_mm: Array
    aside_mm: Array
    facing: BoolArray
    index: IntArray
    places_mm: Array


def target_of(cloud: Cloud, reach_mm: float = 0.0) -> Target:
    """Make a surface ready for look-ups."""
    return Target(cloud, cKDTree(_key(cloud.points_mm, cloud.normals, reach_mm)), reach_mm)


def _key(points_mm: Array, normals: Array, reach_mm: float) -> Array:
    return points_mm if reach_mm == 0.0 else np.concatenate([points_mm, reach_mm * normals], axis=-1)


def partners(
    target: Target, moving: Cloud, poses: Array, among: int = 1, *, within_mm: float = float("inf")
) -> Partners:
    """The nearest fixed point of each moving point under each pose.

    among : of so many nearest ones the one that faces most alike is taken; at a rim the very nearest may lie on the
        other face by chance
    within_mm : what has no fixed point so near has no partner and faces none alike: looking far takes the most time
    """
    places, normals = moved(poses, moving.points_mm), turned(poses, moving.normals)
    key = _key(places, normals, target.reach_mm)
    close = np.ones(key.shape[:2], dtype=bool)
    index = np.zeros(key.shape[:2], dtype=np.int64)
    if among == 1 or np.isfinite(within_mm):
        away_mm, nearest = target.tree.query(key, distance_upper_bound=within_mm)
        close = np.isfinite(away_mm)
        index[close] = nearest[close]
    if among > 1:
        several = np.asarray(target.tree.query(key[close], k=among)[1], dtype=np.int64)
        alike = np.einsum("maj,mj->ma", target.cloud.normals[several], normals[close]) > ALIKE_COSINE
        index[close] = np.take_along_axis(several, alike.argmax(axis=1)[:, None], axis=1)[:, 0]
    fixed_normals = target.cloud.normals[index]
    apart = places - target.cloud.points_mm[index]
    away = np.einsum("knj,knj->kn", apart, fixed_normals)
    aside = np.sqrt(np.maximum(np.einsum("knj,knj->kn", apart, apart) - away**2, 0.0))
    facing = close & (np.einsum("knj,knj->kn", normals, fixed_normals) > LEAST_COSINE)
    return Partners(away, aside, facing, index, places)


def refined(poses: Array, moving: Cloud, target: Target, gates_mm: NDArray[np.float64]) -> Array:
    """The poses after one step for each gate, (k, 4, 4).

    gates_mm : distance at which a point loses three quarters of its say, step by step; it shrinks from the error of
        the start to that of the scatter
    """
    for gate in gates_mm:
        poses = _step(poses, moving, target, float(gate))
    return poses


def _step(poses: Array, moving: Cloud, target: Target, gate_mm: float) -> Array:
    """One Gauss-Newton step of the weighted distances along the fixed normals (Geman-McClure weights)."""
    found = partners(target, moving, poses)
    # Aside, the edge of what was scanned is passed by at most the gate or the points' own spacing.
    near = found.aside_mm < max(2.0 * gate_mm, 1.5 * target.cloud.spacing_mm)
    weights = (gate_mm**2 / (gate_mm**2 + found.away_mm**2)) ** 2 * (near & found.facing)
    middle = found.places_mm.mean(axis=1, keepdims=True)
    arm = found.places_mm - middle
    size = float(np.sqrt(np.mean(arm**2) * 3.0))
    normals = target.cloud.normals[found.index]
    rows = np.concatenate([np.cross(arm, normals) / size, normals], axis=2)
    weighted = rows * weights[:, :, None]
    square = np.swapaxes(weighted, 1, 2) @ rows
    # A little damping leaves alone what the surface does not fix, such as the spin of a round part.
    trace = np.trace(square, axis1=1, axis2=2)[:, None, None]
    square = square + np.eye(6) * (1e-6 * trace + 1e-9)
    right = -np.einsum("kni,kn->ki", weighted, found.away_mm)
    move = np.linalg.solve(square, right[:, :, None])[:, :, 0]
    turn = turns_about(np.clip(move[:, :3] / size, -0.35, 0.35))
    shift = move[:, 3:]
    centre = middle[:, 0]
    about = pose_of(turn, centre + shift - np.einsum("kij,kj->ki", turn, centre))
    return np.asarray(about @ poses)
