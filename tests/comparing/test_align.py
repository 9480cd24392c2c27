import numpy as np
import pytest

from inbox_demo import simulated
from tests.comparing.test_cloud import BOX
from tests.comparing.views import PARTS, off, scans_of, seen
from verifier.comparing import align, cloud_of
from verifier.comparing.pose import moved, pose_of, turns_about
from verifier.mesh import Mesh

# A print is judged by 0.1 mm and more; the pose may take a fifth of that.
CLOSE_MM = 0.02
POSE = pose_of(turns_about(np.array([1.0, -2.0, 0.5])), np.array([40.0, 5.0, -9.0]))


def test_a_whole_scan_lies_on_another_of_the_same_part_within_a_fiftieth_of_a_millimetre():
    pair = scans_of("latch_lever", seed=71, spacing_mm=1.0)
    found = align(cloud_of(pair.moving), cloud_of(pair.fixed))
    assert off(found.pose, pair.truth, pair.moving)[1] < CLOSE_MM
    assert found.sure
    assert found.alternatives == ()
    assert min(found.overlap, found.fixed_overlap) > 0.9


def test_sixty_hundredths_of_a_part_find_their_place_on_it():
    pair = scans_of("fence_clip", seed=72, spacing_mm=1.0)
    part = seen(pair.moving, 0.6, np.random.default_rng(72), "facing")
    found = align(cloud_of(part), cloud_of(pair.fixed))
    assert off(found.pose, pair.truth, part)[1] < 2.0 * CLOSE_MM
    assert found.overlap > 0.9
    assert found.fixed_overlap == pytest.approx(0.6, abs=0.06)  # the rims, rounded by the point spacing


def test_a_boss_of_two_millimetres_decides_between_two_ways_round():
    pair = scans_of("near_twin", seed=73, spacing_mm=1.0)
    found = align(cloud_of(pair.moving), cloud_of(pair.fixed))
    assert off(found.pose, pair.truth, pair.moving)[0] < 0.1
    assert found.sure


def test_a_symmetric_part_has_its_other_poses_told_as_harmless():
    moving = Mesh(moved(POSE, BOX.vertices_mm), BOX.faces)
    found = align(cloud_of(moving), cloud_of(BOX))
    # A box of three unequal sides lies on itself in four ways: as it is, and after half a turn about each axis.
    assert sorted(round(other.turn_deg) for other in found.alternatives) == [180, 180, 180]
    assert all(other.harmless for other in found.alternatives)
    assert found.sure


def test_the_top_of_a_thin_plate_is_not_drawn_onto_its_bottom():
    bottom = np.isclose(BOX.corners_mm[:, :, 2], 0.0).all(axis=1)
    top_and_sides = Mesh(BOX.vertices_mm, BOX.faces[~bottom])
    moving = Mesh(moved(POSE, top_and_sides.vertices_mm), top_and_sides.faces)
    found = align(cloud_of(moving), cloud_of(BOX))
    back = moved(found.pose, moving.vertices_mm)
    assert np.allclose(np.ptp(back, axis=0), [60, 30, 4], atol=CLOSE_MM)
    assert np.allclose(back.min(axis=0), 0, atol=CLOSE_MM)


def test_another_part_is_not_called_sure():
    one, other = (scans_of(name, seed=74, spacing_mm=1.2).moving for name in ("fence_clip", "pump_rocker"))
    found = align(cloud_of(one), cloud_of(other))
    assert not found.sure
    assert found.reason


def test_two_views_that_share_little_are_right_or_not_called_sure():
    pair = scans_of("latch_lever", seed=75, spacing_mm=1.0)
    rng = np.random.default_rng(75)
    one, other = (seen(mesh, 0.6, rng, "facing") for mesh in (pair.moving, pair.fixed))
    found = align(cloud_of(one), cloud_of(other))
    poses = [found.pose, *(rival.pose for rival in found.alternatives)]
    if found.sure:
        poses = poses[:1]
    assert min(off(pose, pair.truth, one)[0] for pose in poses) < 0.5


def test_a_view_that_shows_nothing_of_what_tells_two_ways_apart_is_not_sure():
    """Half of the rail, without its boss, lies on either half with either face up."""
    pair = scans_of("near_twin", seed=76, spacing_mm=1.0)
    rail = simulated.scan(PARTS["near_twin"](), spacing_mm=1.0, seed=153)  # the moving one of the pair: 2 x 76 + 1
    in_part = (rail.vertices_mm - rail.shift_mm) @ rail.turn
    plain_half = in_part[rail.faces].mean(axis=1)[:, 0] < 0.0  # the boss is at x = 40
    found = align(cloud_of(Mesh(rail.vertices_mm, rail.faces[plain_half])), cloud_of(pair.fixed))
    assert not found.sure
    assert not all(other.harmless for other in found.alternatives)
    poses = [found.pose, *(other.pose for other in found.alternatives)]
    assert min(off(pose, pair.truth, pair.moving)[1] for pose in poses) < 5.0 * CLOSE_MM  # half a rail levers twice
