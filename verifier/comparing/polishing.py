"""The last steps of a pose: onto the triangles themselves, where the clouds' points stand for little patches."""

import numpy as np

from verifier.comparing.distances import Searchable, nearest_on
from verifier.comparing.pose import moved, pose_of, turns_about
from verifier.mesh import Array, IntArray

STEPS = 4
SPREADS = 3.0
LEAST_GATE_MM = 0.02


def polished(pose: Array, points_mm: Array, mesh: Searchable, most_mm: float) -> Array:
    """The pose that brings points (n, 3) closest to a mesh, those far off having no say, (4, 4).

    most_mm : how far off a point of the same surface may be
    """
    for _ in range(STEPS):
        places = moved(pose, points_mm)
        found = nearest_on(mesh, places)
        near = np.abs(found.away_mm) < most_mm
        if near.sum() < 50:
            return pose
        gate = max(SPREADS * 1.4826 * float(np.median(np.abs(found.away_mm[near]))), LEAST_GATE_MM)
        weights = near / (1.0 + (found.away_mm / gate) ** 2) ** 2
        pose = _step(places, found.away_mm, mesh.normals[_rows(mesh, found.faces)], weights) @ pose
    return pose


def _rows(mesh: Searchable, faces: IntArray) -> IntArray:
    return np.searchsorted(mesh.sound, faces)


def _step(places: Array, away_mm: Array, normals: Array, weights: Array) -> Array:
    """One weighted point-to-plane step, (4, 4)."""
    middle = places.mean(axis=0)
    arm = places - middle
    size = float(np.sqrt(np.mean(arm**2) * 3.0))
    rows = np.concatenate([np.cross(arm, normals) / size, normals], axis=1)
    square = (rows * weights[:, None]).T @ rows
    square += np.eye(6) * (1e-6 * np.trace(square) + 1e-12)
    move = np.linalg.solve(square, -(rows * weights[:, None]).T @ away_mm)
    turn = turns_about(move[:3] / size)
    return pose_of(turn, middle + move[3:] - turn @ middle)
