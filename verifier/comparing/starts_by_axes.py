"""Starting poses that need nothing but the points: principal axes onto principal axes, and turns all round."""

from itertools import permutations, product

import numpy as np

from verifier.comparing.cloud import Cloud
from verifier.comparing.pose import pose_of
from verifier.mesh import Array


def starts_by_axes(moving: Cloud, fixed: Cloud) -> Array:
    """The middles on each other, and the 24 right-handed ways of laying three axes on three axes, (24, 4, 4)."""
    here, there = _axes(moving.points_mm), _axes(fixed.points_mm)
    turns = np.stack([there @ way @ here.T for way in _ways()])
    middle, target = moving.points_mm.mean(axis=0), fixed.points_mm.mean(axis=0)
    return pose_of(turns, target - turns @ middle)


def _axes(points_mm: Array) -> Array:
    """Principal axes as columns, right-handed, (3, 3)."""
    axes = np.linalg.eigh(np.cov((points_mm - points_mm.mean(axis=0)).T))[1][:, ::-1]
    return np.asarray(axes * np.array([1.0, 1.0, np.linalg.det(axes)]))


def _ways() -> list[Array]:
    """The 24 turns of a cube, (3, 3) each."""
    signed = (
        np.eye(3)[list(order)] * signs for order in permutations(range(3)) for signs in product((1, -1), repeat=3)
    )
    return [way for way in signed if np.linalg.det(way) > 0]
