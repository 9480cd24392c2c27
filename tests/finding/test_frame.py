from dataclasses import replace

import numpy as np
import pytest

from verifier.finding.feature import Plane
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


def _flat(normal, area_mm2):
    nowhere = np.zeros((0, 3))
    return Plane("plane", np.array(normal), np.zeros(3), area_mm2, 0.0, 0.0, 0.0, 0.0, 0, np.zeros(0, int), nowhere)


def _lever_outline():
    """Round ends of 19 and 12 mm, 26 mm apart along x, drawn as points, with the two flanks that touch both."""
    angle = np.radians(np.arange(0.0, 360.0, 0.25))
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    outline = np.concatenate([19.0 * ring, 12.0 * ring + [26.0, 0.0]])
    sine = 7.0 / 26.0
    flanks = [_flat([sine, side * np.sqrt(1.0 - sine**2), 0.0], 200.0) for side in (1.0, -1.0)]
    return np.concatenate([np.column_stack([outline, np.full(len(outline), z)]) for z in (0.0, 8.0)]), flanks


def _lengths(points, planes):
    turn = _turn()
    turned = [replace(plane, normal=turn @ plane.normal) for plane in planes]
    return sorted(np.ptp(points @ turn.T @ natural_frame(points @ turn.T, turned, []).T, axis=0))


def test_a_tapered_lever_without_two_bores_is_as_long_as_its_own_middle_line():
    points, flanks = _lever_outline()
    top = _flat([0.0, 0.0, 1.0], 1400.0)
    assert _lengths(points, [top, *flanks]) == pytest.approx([8.0, 38.0, 57.0], abs=1e-3)


def test_flanks_of_an_outline_that_is_not_the_same_on_both_sides_say_nothing():
    points, flanks = _lever_outline()
    with_lug = np.concatenate([points, [[5.0, 24.0, 0.0], [5.0, 24.0, 8.0]]])
    top = _flat([0.0, 0.0, 1.0], 1400.0)
    assert _lengths(with_lug, [top, *flanks]) == pytest.approx(_lengths(with_lug, [top]), abs=1e-6)
