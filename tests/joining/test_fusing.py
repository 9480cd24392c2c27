from dataclasses import dataclass, replace

import numpy as np
import pytest

from inbox_demo import simulated
from tests.joining.small_views import Placed, bore_mm, placed_views, rib_mm, ribbed_cover
from tests.joining.test_laid_together import SQUARE, scan_of
from verifier.joining.fusing import fuse
from verifier.joining.laid_together import placed
from verifier.joining.posed import SEAM, Fused, Posed
from verifier.mending import Origin, Solid, mend
from verifier.mending.crossings import crossing_pairs
from verifier.mesh import Mesh, area_mm2, face_areas_mm2

# From above, from below and from one side; 0.03 mm of scatter, the poses 0.02 mm off, as a good join leaves them.
VIEWS = ((0.0, 0.0, 1.0), (0.0, 0.0, -1.0), (0.0, 1.0, 0.0))
SPACING_MM = 0.45


@dataclass(frozen=True)
class Cover:
    given: Placed
    fused: Fused
    solid: Solid


@pytest.fixture(scope="module")
def cover() -> Cover:
    given = placed_views(ribbed_cover(), VIEWS, seed=51, spacing_mm=SPACING_MM)
    fused = fuse(given.posed)
    return Cover(given, fused, mend(scan_of(fused.mesh)))


def rows(points: np.ndarray) -> set[bytes]:
    return {point.tobytes() for point in np.ascontiguousarray(points)}


def test_outside_the_seams_every_corner_is_its_scan_s_to_the_last_bit(cover):
    for k, each in enumerate(cover.given.posed):
        corners = np.unique(cover.fused.mesh.faces[cover.fused.source_of_face == k])
        assert len(corners) > 2000
        assert rows(cover.fused.mesh.vertices_mm[corners]) <= rows(placed(each).vertices_mm)


def test_the_seams_bands_are_narrow(cover):
    """Two spacings to either side, and the faces that reach into them."""
    areas = face_areas_mm2(cover.fused.mesh)
    made = areas[cover.fused.source_of_face == SEAM].sum()
    assert 0.0 < made < 7.0 * SPACING_MM * cover.fused.seam.length_mm


def test_every_place_is_taken_from_one_scan_and_none_is_left_out(cover):
    """As much surface, within two in a hundred, as one scan of the whole part has with the same scatter."""
    white = 0.03 / np.sqrt(2.0)
    whole = simulated.scan(ribbed_cover(), spacing_mm=SPACING_MM, seed=53, white_mm=white, correlated_mm=white)
    asked = area_mm2(Mesh(whole.vertices_mm, whole.faces))
    assert area_mm2(cover.fused.mesh) == pytest.approx(asked, rel=0.02)


def test_it_is_closed_after_mending_and_crosses_itself_nowhere(cover):
    assert len(crossing_pairs(cover.solid.mesh)) == 0
    assert cover.solid.bodies == 1
    assert (cover.solid.origin == Origin.FILLED).mean() < 0.01


def test_bores_a_thin_wall_and_the_surface_stay_where_they_truly_are(cover):
    """Asked at 0.03 mm of scatter: bores 0.02 mm, a wall of 1 mm 0.03 mm, 99 of 100 places 0.15 mm."""
    points = cover.given.in_part(cover.solid.mesh.vertices_mm)
    assert bore_mm(points, (-17, 0), 8.0, 1.0, 5.0) == pytest.approx(8.0, abs=0.02)
    assert bore_mm(points, (17, 0), 6.0, 1.0, 5.0) == pytest.approx(6.0, abs=0.02)
    assert rib_mm(points) == pytest.approx(1.0, abs=0.03)
    assert np.quantile(np.abs(cover.given.shape.distance(points)), 0.99) < 0.15


def test_the_seam_s_step_is_told(cover):
    """Two scans with 0.03 mm of scatter and 0.02 mm of pose error lie 0.03 mm apart in the middle."""
    seam = cover.fused.seam
    assert seam.step.middle_mm == pytest.approx(0.03, abs=0.015)
    assert seam.step.middle_mm < seam.step.p95_mm < seam.step.largest_mm < 0.3
    assert seam.gap.middle_mm == 0.0


def test_a_hole_in_one_scan_is_closed_with_what_another_saw():
    given = placed_views(ribbed_cover(), VIEWS[:1] * 2, seed=52, spacing_mm=0.6)
    first = given.posed[0]
    middles = given.in_part(first.scan.mesh.vertices_mm)[first.scan.mesh.faces].mean(axis=1)
    seen = np.linalg.norm(middles - [9.0, 6.0, 6.0], axis=1) > 3.0
    fused = fuse((replace(first, keep_faces=seen), given.posed[1]))
    middles = given.in_part(fused.mesh.vertices_mm)[fused.mesh.faces].mean(axis=1)
    there = np.linalg.norm(middles - [9.0, 6.0, 6.0], axis=1) < 2.0
    assert (fused.source_of_face[there] == 1).all()
    assert face_areas_mm2(fused.mesh)[there].sum() == pytest.approx(np.pi * 4.0, rel=0.1)  # scatter roughens it


def test_scans_that_meet_nowhere_stay_as_they_are():
    away = np.eye(4)
    away[0, 3] = 50.0
    both = np.ones(2, dtype=bool)
    fused = fuse((Posed(scan_of(SQUARE), np.eye(4), both), Posed(scan_of(SQUARE), away, both)))
    assert fused.seam is None
    assert fused.source_of_face.tolist() == [0, 0, 1, 1]
    assert np.array_equal(fused.mesh.corners_mm[:2], SQUARE.corners_mm)
    assert np.array_equal(fused.mesh.corners_mm[2:], SQUARE.corners_mm + away[:3, 3])


def test_one_scan_alone_is_itself():
    fused = fuse((Posed(scan_of(SQUARE), np.eye(4), np.ones(2, dtype=bool)),))
    assert isinstance(fused.mesh, Mesh)
    assert np.array_equal(fused.mesh.corners_mm, SQUARE.corners_mm)
