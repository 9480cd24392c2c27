"""Two faces run through each other, or touch, or pass: known by construction."""

import numpy as np
import pytest

from verifier.mending.penetration import run_through_each_other
from verifier.mesh import Mesh

FLAT = [[0, 0, 0], [2, 0, 0], [0, 2, 0]]


@pytest.mark.parametrize(
    ("other", "crosses"),
    [
        ([[0.5, 0.5, -1], [0.5, 0.5, 1], [3, 3, 0.3]], True),  # an edge through the middle
        ([[0.5, 0.5, 0], [0.5, 0.5, 1], [3, 3, 1]], False),  # stands on it with one corner
        ([[0.5, 0.5, 1e-3], [0.5, 0.5, 1], [3, 3, 1]], False),  # hovers over it
        ([[0, 0, 0], [-2, 0, 1e-14], [0, -2, -1e-14]], False),  # shares a corner in the same plane, but for rounding
        ([[0, 0, 0], [2, 0, 0], [1, -2, 0]], False),  # shares an edge in the same plane
        ([[0, 0, 0], [2, 0, 0], [0.5, 1, 0]], True),  # folded flat onto it
        ([[0, 0, 0], [1, 1, 1], [1, 1, -1]], True),  # shares a corner and cuts through
        ([[0, 0, 5], [2, 0, 5], [0, 2, 5]], False),  # passes over
    ],
)
def test_a_pair_is_told_apart_in_any_pose(other, crosses):
    turn, _ = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))
    faces = np.array([[0, 1, 2], [3, 4, 5]])
    for pose in (np.eye(3), turn):
        mesh = Mesh(np.array(FLAT + other, dtype=float) @ pose.T, faces)
        assert run_through_each_other(mesh, np.array([[0, 1], [1, 0]])).tolist() == [crosses, crosses]
