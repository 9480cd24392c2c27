"""Nets whose triangles are long against the part: drawn parts, and scans thinned on export."""

import fast_simplification
import manifold3d
import numpy as np
import pytest

from inbox_demo import simulated as sim
from verifier.finding import find_features
from verifier.finding.sampling import MOST_TRIANGLES, is_coarse, sampled
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Mesh, area_mm2, volume_mm3

pytestmark = pytest.mark.filterwarnings("error")


def _rod(height, radius, sides, at):
    return manifold3d.Manifold.cylinder(height, radius, radius, sides).translate(at)


def _solid(shape, seed=3):
    drawn = shape.to_mesh()
    vertices = np.asarray(drawn.vert_properties[:, :3], dtype=np.float64) @ sim.rotation(seed).T + 5.0
    faces = np.asarray(drawn.tri_verts, dtype=np.int64)
    # As a binary STL holds it.
    mesh = Mesh(vertices.astype(np.float32).astype(np.float64), faces)
    return Solid(mesh, np.full(len(faces), Origin.MEASURED, dtype=np.uint8))


def _plate(small_sides, large_sides):
    body = manifold3d.Manifold.cube((80, 40, 8), False)
    return body - _rod(10, 3, small_sides, (15, 20, -1)) - _rod(10, 5, large_sides, (60, 20, -1))


def _bracket(sides):
    legs = manifold3d.Manifold.cube((50, 30, 6), False) + manifold3d.Manifold.cube((6, 30, 40), False)
    cross = _rod(30, 3, sides, (0, 0, 0)).rotate((0, 90, 0)).translate((-5, 15, 28))
    return legs + _rod(10, 8, sides, (32, 15, 6)) - _rod(30, 4, sides, (32, 15, -5)) - cross


@pytest.mark.parametrize("sides", [(64, 96), (16, 24), pytest.param((32, 48), marks=pytest.mark.long)])
@pytest.mark.parametrize("seed", [3, pytest.param(8, marks=pytest.mark.long)])
def test_a_drawn_plate_of_few_triangles_has_its_sizes_however_it_lies(sides, seed):
    features = find_features(_solid(_plate(*sides), seed))
    # 32-bit steps of 8e-6 at 90 mm.
    assert [e.length_mm for e in features.extents] == pytest.approx([80.0, 40.0, 8.0], abs=1e-4)
    assert all(e.u_length_mm > 0.0 for e in features.extents)
    assert [b.diameter_mm for b in features.bores] == pytest.approx([10.0, 6.0], abs=1e-3)
    assert all(bore.through and bore.arc_deg > 355.0 for bore in features.bores)
    # Corners or facets on the true wall: r (1 - cos(pi / n)) of the radius, half of it stated.
    for bore, true_mm, n in zip(features.bores, (10.0, 6.0), sides[::-1], strict=True):
        assert bore.u_diameter_mm == pytest.approx(0.5 * true_mm * (1.0 - np.cos(np.pi / n)), rel=0.05)
        assert len(bore.faces) == 2 * n
    assert len(features.planes) == 6


@pytest.mark.parametrize("sides", [24, pytest.param(32, marks=pytest.mark.long), 48])
def test_a_drawn_bracket_has_its_bores_and_its_boss(sides):
    features = find_features(_solid(_bracket(sides)))
    assert [b.diameter_mm for b in features.bores] == pytest.approx([8.0, 6.0], abs=2e-3)
    assert [b.diameter_mm for b in features.bosses] == pytest.approx([16.0], abs=2e-3)
    assert [e.length_mm for e in features.extents] == pytest.approx([50.0, 40.0, 30.0], abs=1e-4)


@pytest.mark.parametrize("triangles", [pytest.param(15_000, marks=pytest.mark.long), 6000])
def test_a_thinned_scan_is_true_within_four_of_its_uncertainties(triangles):
    scan = sim.scan(sim.latch_lever(), spacing_mm=0.35, seed=3, white_mm=0.02, correlated_mm=0.01)
    vertices, faces = fast_simplification.simplify(
        scan.vertices_mm.astype(np.float32), scan.faces.astype(np.int32), target_count=triangles
    )
    mesh = Mesh(vertices.astype(np.float64), faces.astype(np.int64))
    features = find_features(Solid(mesh, np.full(len(faces), Origin.MEASURED, dtype=np.uint8)))
    assert [round(b.diameter_mm) for b in features.bores] == [10, 6]
    for bore, true_mm in zip(features.bores, (10.0, 6.0), strict=True):
        assert bore.diameter_mm == pytest.approx(true_mm, abs=4.0 * bore.u_diameter_mm)
        assert bore.u_diameter_mm < 0.2
    for extent, true_mm in zip(features.extents, (84.0, 28.0, 12.0), strict=True):
        assert extent.length_mm == pytest.approx(true_mm, abs=4.0 * extent.u_length_mm)


def test_cutting_edges_changes_neither_area_nor_volume_and_stays_within_bounds():
    mesh = _solid(_plate(64, 96)).mesh
    copy = sampled(mesh)
    assert len(copy.mesh.faces) <= MOST_TRIANGLES
    assert area_mm2(copy.mesh) == pytest.approx(area_mm2(mesh), rel=1e-9)
    assert volume_mm3(copy.mesh) == pytest.approx(volume_mm3(mesh), rel=1e-9)
    assert (copy.mesh.vertices_mm[: len(mesh.vertices_mm)] == mesh.vertices_mm).all()


def test_a_scan_of_fine_spacing_is_not_cut():
    scan = sim.scan(sim.latch_lever(), spacing_mm=0.8, seed=3, white_mm=0.02, correlated_mm=0.01)
    assert not is_coarse(Mesh(scan.vertices_mm, scan.faces), np.ones(len(scan.faces), dtype=bool))
