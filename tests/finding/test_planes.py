import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features

from .parts import NOISE_A, along_part, found, on_part, solid_of, thickness_mm


def test_the_thickness_is_true_where_the_raw_extent_is_a_quarter_millimetre_large():
    features, scanned = found("link")
    thickness, u = thickness_mm(features, scanned)
    assert thickness == pytest.approx(8.0, abs=0.01)  # three of its uncertainties
    assert 0.0015 < u < 0.005
    assert np.ptp(on_part(scanned.vertices_mm, scanned)[:, 2]) > 8.1


def test_every_flat_of_a_block_is_found_and_none_besides():
    features, scanned = found("block")
    facing = sorted(tuple(np.round(along_part(p.normal, scanned)).astype(int).tolist()) for p in features.planes)
    # Six sides, two slot sides, the counterbore's shoulder and the blind bore's floor.
    sides = [(-1, 0, 0), (0, -1, 0), (0, -1, 0), (0, 0, -1), (0, 0, 1), (0, 0, 1), (0, 0, 1), (0, 1, 0), (0, 1, 0)]
    assert facing == sorted([*sides, (1, 0, 0)])


def test_planes_lie_where_they_are_to_a_few_uncertainties():
    features, scanned = found("block")
    heights = {round(along_part(p.normal, scanned) @ on_part(p.centre_mm, scanned), 1): p for p in features.planes}
    for height in (20.0, 14.0, 8.0, 25.0, 15.0):
        plane = heights[height]
        off = float(along_part(plane.normal, scanned) @ on_part(plane.centre_mm, scanned)) - height
        # At a tilt u_tilt the height over the part's origin wanders by u_tilt times the distance from it.
        reach = float(np.linalg.norm(on_part(plane.centre_mm, scanned)))
        assert abs(off) < 4.0 * np.hypot(plane.u_offset_mm, plane.u_tilt_rad * reach)


def test_planes_are_numbered_by_area_and_say_how_flat_they_are():
    features, _ = found("block")
    areas = [p.area_mm2 for p in features.planes]
    assert areas == sorted(areas, reverse=True)
    assert [p.name for p in features.planes] == [f"plane {i + 1}" for i in range(len(areas))]
    for plane in features.planes:
        assert plane.rms_mm == pytest.approx(0.028, abs=0.006)  # white and shared 0.02 together
        assert len(plane.points_mm) <= 400
        assert plane.form_error_mm < 0.15  # shared scatter of 0.02, peak to valley


def test_a_strip_bent_to_200_mm_has_four_flat_sides_and_no_flat_back():
    features, scanned = found("bent strip", spacing_mm=0.8)
    facing = sorted(tuple(np.round(along_part(p.normal, scanned)).astype(int).tolist()) for p in features.planes)
    assert facing == [(-1, 0, 0), (0, -1, 0), (0, 1, 0), (1, 0, 0)]


def test_two_flanks_that_meet_at_four_degrees_stay_two():
    scanned = sim.scan(sim.pump_rocker(), spacing_mm=0.5, seed=3, white_mm=0.05, correlated_mm=0.0)
    features = find_features(solid_of(scanned))
    upward = [along_part(p.normal, scanned) for p in features.planes if p.area_mm2 > 300.0]
    upward = [n for n in upward if n[1] > 0.9]
    angles = sorted(np.degrees(np.arctan2(n[0], n[1])) for n in upward)
    # Arm to (-48, 6) from radius 13 to 8 and arm to (36, 8) from 13 to 7: normals +1.2 and -3.1 degrees from y.
    assert angles == pytest.approx([-3.14, 1.18], abs=0.15)


def test_no_plane_is_found_on_filled_faces():
    scanned = sim.scan(sim.fence_clip(), spacing_mm=0.5, seed=2, **NOISE_A)
    solid = solid_of(scanned)
    filled = along_part(scanned.normals, scanned)[scanned.faces].mean(axis=1)[:, 2] < -0.9  # the underside
    solid.origin[filled] = 1
    features = find_features(solid)
    assert all(along_part(p.normal, scanned)[2] > -0.5 for p in features.planes)
    assert not np.isin(np.flatnonzero(filled), np.concatenate([p.faces for p in features.planes])).any()
