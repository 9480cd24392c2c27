import numpy as np
import pytest

from verifier.finding.frame import natural_frame


def _turn(seed=3):
    return np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]


def test_a_bare_box_of_points_is_framed_by_its_sides():
    rng = np.random.default_rng(1)
    turn = _turn()
    points = rng.uniform(-1, 1, (3000, 3)) * [20.0, 8.0, 3.0]
    points = np.concatenate([points, [[x, y, z] for x in (-20, 20) for y in (-8, 8) for z in (-3, 3)]])
    frame = natural_frame(points @ turn.T, [], [])
    assert np.linalg.det(frame) == pytest.approx(1.0, abs=1e-9)
    sizes = sorted(np.ptp(points @ turn.T @ frame.T, axis=0))
    assert sizes == pytest.approx([6.0, 16.0, 40.0], abs=1e-6)


def test_points_on_one_plane_have_a_frame_all_the_same():
    points = np.random.default_rng(2).uniform(-1, 1, (100, 3)) * [10.0, 5.0, 0.0]
    frame = natural_frame(points, [], [])
    assert np.abs(frame @ frame.T - np.eye(3)).max() < 1e-9
