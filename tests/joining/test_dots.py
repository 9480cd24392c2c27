"""Marker dots: found, told from what is moulded, matched between scans, and taken off."""

from itertools import product

import numpy as np
import pytest

from tests.joining import dotted, views
from tests.joining.test_join import renamed
from verifier.inspect import with_dots_measured
from verifier.joining import join
from verifier.joining.dots.dot import Dots
from verifier.joining.dots.find import find_dots
from verifier.joining.dots.matching import least_to_tell, matched, poses_by_dots
from verifier.joining.dots.taking_off import dots_taken_off, faces_at, is_regular
from verifier.joining.dots.telling import told_apart, told_otherwise
from verifier.joining.posed import Posed
from verifier.joining.two_sides import place_two_sides
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

SPACING_MM, NOISE_MM, DOT_MM, BEND_MM = 0.7, 0.02, 5.0, 120.0
BUMPS_MM = np.array([(-40.0, -12.0), (-21.0, 14.0), (2.0, -15.0), (23.0, 9.0), (41.0, -7.0)])
HOLES_MM = np.array([(-33.0, 7.0), (-9.0, 1.0), (12.0, 17.0), (33.0, 19.0)])


def sheet_of(rise_mm, left_out=None) -> Mesh:
    """A sheet bent round 120 mm with scatter, raised by a figure of place; left_out : places where it has no face."""
    rng = np.random.default_rng(5)
    x, y = (each.ravel() for each in np.meshgrid(*(np.arange(-r, r, SPACING_MM) for r in (52, 28)), indexing="ij"))
    x, y = (each + rng.uniform(-0.2, 0.2, len(each)) * SPACING_MM for each in (x, y))
    z = np.sqrt(BEND_MM**2 - y**2) - BEND_MM + rise_mm(x, y) + rng.normal(0.0, NOISE_MM, len(x))
    number = np.arange(len(x)).reshape(-1, len(np.arange(-28, 28, SPACING_MM)))
    a, b, c, d = (each.ravel() for each in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]))
    faces = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])])
    if left_out is not None:
        faces = faces[~left_out(x[faces].mean(axis=1), y[faces].mean(axis=1))]
    return Mesh(np.column_stack([x, y, z]), faces)


def within(places: Array, radius_mm: float):
    """Whether a place is within a circle about any of some."""
    return lambda x, y: np.min([np.hypot(x - u, y - v) for u, v in places], axis=0) < radius_mm


def test_stickers_are_found_where_they_are_as_bumps_and_as_holes():
    under = within(BUMPS_MM, DOT_MM / 2)
    found = find_dots(sheet_of(lambda x, y: 0.12 * under(x, y), left_out=within(HOLES_MM, DOT_MM / 2)))
    for true, seen in ((BUMPS_MM, found.of(found.height_mm > 0)), (HOLES_MM, found.of(found.height_mm == 0))):
        away = np.linalg.norm(true[:, None] - seen.at_mm[None, :, :2], axis=2)
        assert away.shape == (len(true), len(true))
        assert away.min(axis=1).max() < 0.4  # half the spacing: that is how ragged a rim comes out
        assert np.abs(seen.diameter_mm - DOT_MM).max() < SPACING_MM


@pytest.mark.parametrize("rise_mm", [0.8, -0.3, -1.5])
def test_bosses_and_pits_of_a_dot_s_size_are_no_dots(rise_mm):
    assert len(find_dots(sheet_of(lambda x, y: rise_mm * within(BUMPS_MM, DOT_MM / 2)(x, y)))) == 0


@pytest.mark.parametrize("deep_mm", [0.4, 2.0])
def test_a_bore_is_no_dot_however_little_of_its_wall_was_seen(deep_mm):
    """The sheet dips round each place and has no face further in."""
    sunk, gone = within(HOLES_MM, DOT_MM / 2), within(HOLES_MM, DOT_MM / 2 - 0.5 * SPACING_MM)
    assert len(find_dots(sheet_of(lambda x, y: -deep_mm * sunk(x, y), left_out=gone))) == 0


def dots_at(at_mm: Array, facing: Array) -> Dots:
    return Dots(at_mm, facing, np.full(len(at_mm), 5.0), np.full(len(at_mm), 0.2))


def scattered(count: int, seed: int) -> Dots:
    rng = np.random.default_rng(seed)
    facing = rng.normal(size=(count, 3))
    return dots_at(rng.uniform(-60, 60, (count, 3)), facing / np.linalg.norm(facing, axis=1, keepdims=True))


def test_scans_are_laid_on_each_other_by_the_dots_that_both_show():
    """Five of eight in common, each 0.1 mm off; in the mirror image of the part there is no such pose."""
    every, rng = scattered(8, 1), np.random.default_rng(2)
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = views.random_turn(rng), rng.uniform(-100, 100, 3)
    first = every.of(np.arange(6))
    second = every.of(np.array([7, 5, 4, 3, 2, 1]))
    second = dots_at(second.at_mm + rng.normal(0, 0.06, (6, 3)), second.facing).placed(np.linalg.inv(pose))
    found = poses_by_dots(first, second)[0]
    assert len(matched(first, second, found)) == 5
    assert np.abs(found - pose)[:3, 3].max() < 1.0
    mirrored = dots_at(second.at_mm * [1, 1, -1], second.facing * [1, 1, -1])
    assert all(
        len(matched(first, mirrored, way)) < least_to_tell(first, mirrored) for way in poses_by_dots(first, mirrored)
    )


def test_dots_never_take_a_way_that_the_shapes_speak_against():
    assert told_apart([0, 5, 0], [True, True, True]) == [1]
    assert told_apart([0, 5, 0], [True, False, True]) == [0, 1, 2]
    assert told_otherwise([0, 5, 0], [True, False, True]) == 1
    assert told_otherwise([4, 5, 0], [True, False, True]) is None
    assert told_apart([4, 3, 0], [True, True, True]) == [0, 1]  # one dot fewer may have been missed
    assert told_apart([0, 0], [True, True]) == [0, 1]


def test_places_as_regular_as_moulded_ones_are_known_from_places_by_eye():
    grid = np.array(list(product((0.0, 30.0, 60.0), (0.0, 40.0), (0.0,))))
    turn = np.arange(5) * 2 * np.pi / 5
    circle = 30.0 * np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    assert is_regular(grid)
    assert is_regular(circle)
    assert is_regular(grid[:2].mean(axis=0) + np.array([[0, 0, 0], [25, 0, 0], [50, 0, 0], [75, 0, 0]]))
    assert not is_regular(scattered(6, 3).at_mm)
    assert not is_regular(np.column_stack([BUMPS_MM, np.zeros(5)]))


@pytest.fixture(scope="module")
def lid():
    """Two sides of a lid of 0.3 m whose rim is the same turned half round, with seven dots along it."""
    part, rng = dotted.lid_with_a_heel(300.0, 130.0), np.random.default_rng(91)
    fault = views.Fault(noise_mm=0.02, warp_mm=0.05, past_rim_mm=7.0, spacing_mm=1.0, inner_mm=6.0, skirt_share=0.3)
    dots = dotted.dots_round_rim(part, rng, 7, height_mm=0.25)
    seen = [dotted.stuck_on(views.view(part, side, fault, rng), dots) for side in (1, -1)]
    scans = [
        renamed(Mesh(view.vertices_mm, view.faces), f"trough_lid.{k}.ply", str(k) * 64) for k, view in enumerate(seen)
    ]
    return part, seen, scans, dots


def test_dots_tell_a_lid_from_itself_turned_half_round_and_go_from_its_surface(lid):
    part, seen, scans, dots = lid
    assert not place_two_sides(*scans, None).sure
    joined = join(scans, None, load_rules(rules_folder()))
    assert joined.report.placing.sure
    assert "marker dots" in joined.report.placing.why
    assert views.errors(joined.report.placing.taken.poses[1], *seen, part)[1] < 1.0
    assert joined.report.dots.taken_off == 7
    at = joined.scan.mesh.vertices_mm @ seen[0].to_part[:3, :3].T + seen[0].to_part[:3, 3]
    smooth = dotted.on_rim(part, at)
    for place in dots.at_mm:  # four scatters of 0.02 mm, and what the two sides differ by; a dot stands 0.25 mm above
        assert np.quantile(smooth[np.linalg.norm(at - place, axis=1) < 2.0], 0.9) < 0.13
    beneath = faces_at(joined.scan.mesh, joined.report.dots_at)
    assert beneath.any()
    solid = Solid(joined.scan.mesh, np.where(beneath, Origin.FILLED, Origin.MEASURED).astype(np.uint8))
    # What was filled there keeps no part from passing: nobody sticks a dot on a bore.
    assert (with_dots_measured(solid, joined.report).origin == Origin.MEASURED).all()
    assert with_dots_measured(solid, None) is solid


def test_bumps_that_the_sheet_says_are_part_stay_on(lid):
    _, seen, scans, _ = lid
    poses = np.eye(4), views.true_pose(*seen)
    posed = tuple(
        Posed(scan, pose, np.ones(len(scan.mesh.faces), bool)) for scan, pose in zip(scans, poses, strict=True)
    )
    dots = [find_dots(scan.mesh) for scan in scans]
    assert dots_taken_off(posed, dots, moulded=True).posed is posed
    assert dots_taken_off(posed, dots).told.taken_off == 7
