from dataclasses import replace

import numpy as np
import pytest

from verifier.finding.feature import Cylinder, Plane
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


def _thin_plate(shape=(61.0, 53.0, 4.0)):
    """A plate as points of its outline, with its six flats; the long sides have a fortieth of all."""
    corners = np.array([[x, y, z] for x in (0, 1) for y in (0, 1) for z in (0, 1)]) * shape
    flats = []
    for axis in range(3):
        for end in (0.0, shape[axis]):
            on = corners[corners[:, axis] == end]
            normal = np.eye(3)[axis] * (1.0 if end else -1.0)
            area_mm2 = float(np.prod(np.delete(shape, axis)))
            flats.append(replace(_flat(normal, area_mm2), points_mm=on))
    return corners, flats


def _bore(x, y):
    none = np.zeros(0, int)
    at, up = np.array([x, y, 2.0]), np.array([0.0, 0.0, 1.0])
    return Cylinder("bore", "bore", at, up, 4.0, 4.0, 0.0, 360.0, 4.0, True, "own", 0.0, 0.0, 0.0, 0.0, 0, none)


GRID = [_bore(x, y) for x in (6.0, 55.0) for y in (6.0, 47.0)]


def test_the_sides_of_a_thin_plate_turn_its_box_and_not_the_diagonal_of_its_bores():
    points, flats = _thin_plate()
    assert sorted(np.ptp(points @ natural_frame(points, flats, GRID).T, axis=0)) == pytest.approx([4.0, 53.0, 61.0])


def test_of_a_plate_without_flat_sides_no_diagonal_of_its_bores_is_the_length():
    points, flats = _thin_plate()
    top_and_bottom = [flat for flat in flats if abs(flat.normal[2]) == 1.0]
    frame = natural_frame(points, top_and_bottom, GRID)
    assert sorted(np.ptp(points @ frame.T, axis=0)) == pytest.approx([4.0, 53.0, 61.0])


def test_one_line_of_bores_longer_than_all_others_turns_the_box():
    points, flats = _thin_plate()
    top_and_bottom = [flat for flat in flats if abs(flat.normal[2]) == 1.0]
    frame = natural_frame(points, top_and_bottom, [_bore(6.0, 6.0), _bore(50.0, 30.0), _bore(20.0, 20.0)])
    assert abs(frame[1] @ np.array([44.0, 24.0, 0.0])) == pytest.approx(np.hypot(44.0, 24.0))


def test_a_stretch_of_a_bent_grip_that_looks_like_a_boss_does_not_turn_the_box():
    points, flats = _thin_plate()
    top_and_bottom = [replace(flat, area_mm2=60.0) for flat in flats if abs(flat.normal[2]) == 1.0]
    lean = np.array([np.cos(0.13), np.sin(0.13), 0.0])
    grip = replace(_bore(30.0, 30.0), kind="boss", axis=lean, diameter_mm=17.4, depth_mm=44.0, arc_deg=284.0)
    frame = natural_frame(points, top_and_bottom, [*GRID[:2], grip])
    assert np.abs(frame[0]) == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)


def test_a_knurled_knob_is_as_long_as_it_is_from_crest_to_crest():
    """Fourteen crests round 40 mm, 0.6 mm deep; square to two of them a calliper rests beside two valleys."""
    angle = np.radians(np.arange(0.0, 360.0, 0.25))
    radius = 20.0 - 0.3 * (1.0 - np.cos(14.0 * angle))
    outline = np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
    points = np.concatenate([np.column_stack([outline, np.full(len(angle), z)]) for z in (0.0, 12.0)])
    # The widest is sought in steps of half a degree: of 20 mm beside a valley that is 0.02 mm.
    assert _lengths(points, [_flat([0.0, 0.0, 1.0], 1200.0)]) == pytest.approx(
        [12.0, np.ptp(outline[:, 1]), 40.0], abs=0.02
    )
    assert np.ptp(outline[:, 1]) < 39.3
