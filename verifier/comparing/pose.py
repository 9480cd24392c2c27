"""Poses: (4, 4) matrices that turn and shift points, one or a stack of them, (k, 4, 4)."""

import numpy as np

from verifier.mesh import Array


def pose_of(turn: Array, shift_mm: Array) -> Array:
    """One pose, or a stack: turn (..., 3, 3) and shift (..., 3) make (..., 4, 4)."""
    pose = np.zeros((*turn.shape[:-2], 4, 4))
    pose[..., :3, :3], pose[..., :3, 3], pose[..., 3, 3] = turn, shift_mm, 1.0
    return pose


def moved(pose: Array, points_mm: Array) -> Array:
    """Points (n, 3) under one pose (n, 3), or under each of a stack (k, n, 3)."""
    return np.asarray(points_mm @ np.swapaxes(pose[..., :3, :3], -1, -2) + pose[..., None, :3, 3])


def turned(pose: Array, directions: Array) -> Array:
    """Directions (n, 3) under one pose or each of a stack."""
    return np.asarray(directions @ np.swapaxes(pose[..., :3, :3], -1, -2))


def inverse(pose: Array) -> Array:
    """The way back, of one pose or each of a stack."""
    back = np.swapaxes(pose[..., :3, :3], -1, -2)
    return pose_of(back, -np.einsum("...ij,...j->...i", back, pose[..., :3, 3]))


def turns_about(vectors: Array) -> Array:
    """Turns about vectors as long as the angle in radians (Rodrigues' formula), (..., 3) -> (..., 3, 3)."""
    angle = np.linalg.norm(vectors, axis=-1)[..., None, None]
    cross = np.zeros((*vectors.shape[:-1], 3, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        cross[..., k, j], cross[..., j, k] = vectors[..., i], -vectors[..., i]
    sine = np.sinc(angle / np.pi)
    versine = 0.5 * np.sinc(angle / (2.0 * np.pi)) ** 2
    return np.asarray(np.eye(3) + sine * cross + versine * (cross @ cross))


def angle_between_deg(one: Array, other: Array) -> Array:
    """How far two poses are turned from each other, of pairs or stacks."""
    trace = np.einsum("...ij,...ij->...", one[..., :3, :3], other[..., :3, :3])
    return np.asarray(np.degrees(np.arccos(np.clip(0.5 * (trace - 1.0), -1.0, 1.0))))


def distinct(poses: Array, points_mm: Array, apart_mm: float) -> list[int]:
    """Which of a stack of poses to keep so that no two lay these points within apart_mm (rms); the first ones win."""
    if len(poses) == 0:
        return []
    # Turn and shift weighed by how the points spread say the rms of the moves without moving every point.
    middle = points_mm.mean(axis=0)
    values, axes = np.linalg.eigh(np.cov((points_mm - middle).T, bias=True))
    spread = axes * np.sqrt(np.maximum(values, 0.0))
    places = np.concatenate([poses[:, :3, :3] @ spread, moved(poses, middle[None]).transpose(0, 2, 1)], axis=2)
    rows = places.reshape(len(poses), 12)
    kept: list[int] = []
    for i, row in enumerate(rows):
        if not kept or (np.linalg.norm(rows[kept] - row, axis=1) > apart_mm).all():
            kept.append(i)
    return kept
