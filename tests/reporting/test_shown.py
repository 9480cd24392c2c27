"""The mesh the page shows."""

import manifold3d
import numpy as np
import pytest

from verifier.mending.solid import Origin, Solid
from verifier.mesh import Mesh, area_mm2, face_areas_mm2, volume_mm3
from verifier.reporting.page_rows import surfaces
from verifier.reporting.shown import JOINED, ShownMesh, shown_mesh, with_seam

EDGE_MM = 0.5
NOISE_MM = 0.02


def lever(edge_mm: float) -> Solid:
    """A block with a bore, its surface roughened as a scan's is; a disc on its top is filled, the bore is rebuilt."""
    block = manifold3d.Manifold.cube((80.0, 30.0, 10.0), True)
    bore = manifold3d.Manifold.cylinder(20.0, 5.0, 5.0, 96, True).translate((-20.0, 0.0, 0.0))
    made = (block - bore).refine_to_length(edge_mm).to_mesh()
    corners_mm, number = np.unique(np.asarray(made.vert_properties)[:, :3].round(5), axis=0, return_inverse=True)
    faces = number[np.asarray(made.tri_verts)].astype(np.int64)
    rough = np.random.default_rng(4).normal(0.0, NOISE_MM, corners_mm.shape)
    x, y, z = corners_mm[faces].mean(axis=1).T
    origin = np.full(len(faces), Origin.MEASURED, dtype=np.uint8)
    origin[np.hypot(x + 20.0, y) < 5.1] = Origin.REBUILT
    origin[(np.hypot(x - 15.0, y) < 4.0) & (z > 4.9)] = Origin.FILLED
    return Solid(Mesh(corners_mm + rough, faces), origin)


SOLID = lever(EDGE_MM)


def as_mesh(shown: ShownMesh) -> Mesh:
    return Mesh(shown.vertices_mm.astype(np.float64), shown.faces.astype(np.int64))


def area_of(mesh: Mesh, origin: np.ndarray, kind: Origin) -> float:
    return float(face_areas_mm2(mesh)[origin == kind].sum())


# One runs through edge collapses alone, the other through the grid first.
@pytest.mark.parametrize("at_most", [len(SOLID.mesh.faces) // 2, len(SOLID.mesh.faces) // 10])
def test_the_shown_part_has_the_same_shape_in_fewer_triangles(at_most: int):
    shown = shown_mesh(SOLID, at_most=at_most)
    assert len(shown.faces) == len(shown.origin) <= 1.01 * at_most
    mesh = as_mesh(shown)
    # The surface may move by no more than a fifth of the original point spacing on average, which nobody sees.
    moved_mm = abs(volume_mm3(mesh) - volume_mm3(SOLID.mesh)) / area_mm2(SOLID.mesh)
    assert moved_mm < 0.2 * EDGE_MM
    assert np.abs(mesh.vertices_mm).max(axis=0) == pytest.approx((40.0, 15.0, 5.0), abs=0.5 * EDGE_MM)


@pytest.mark.parametrize("at_most", [len(SOLID.mesh.faces) // 2, len(SOLID.mesh.faces) // 10])
@pytest.mark.parametrize("kind", [Origin.FILLED, Origin.REBUILT])
def test_filled_and_rebuilt_surface_keeps_its_place_and_its_area(at_most: int, kind: Origin):
    shown = shown_mesh(SOLID, at_most=at_most)
    mesh = as_mesh(shown)
    # A tenth: at the tenth of the triangles a border of one triangle's width is about that much of the disc.
    assert area_of(mesh, shown.origin, kind) == pytest.approx(area_of(SOLID.mesh, SOLID.origin, kind), rel=0.1)
    middle = mesh.corners_mm[shown.origin == kind].mean(axis=(0, 1))
    expected = {Origin.FILLED: (15.0, 0.0, 5.0), Origin.REBUILT: (-20.0, 0.0, 0.0)}[kind]
    assert middle == pytest.approx(expected, abs=EDGE_MM)


def test_a_small_solid_is_shown_as_it_is():
    shown = shown_mesh(SOLID, at_most=len(SOLID.mesh.faces))
    assert np.array_equal(shown.faces, SOLID.mesh.faces)
    assert np.array_equal(shown.origin, SOLID.origin)
    assert np.abs(shown.vertices_mm - SOLID.mesh.vertices_mm).max() < 1e-5  # 32-bit rounding at 40 mm


def test_a_seam_is_shown_where_it_runs_on_measured_surface_alone():
    shown = shown_mesh(SOLID, at_most=5000)
    middles = SOLID.mesh.corners_mm.mean(axis=1)
    band = middles[(np.abs(middles[:, 0] - 15.0) < 1.0) & (middles[:, 2] > 0.0)]  # right across the filled disc
    joined = with_seam(shown, band)
    mesh, step_mm = as_mesh(shown), 2.0 * np.sqrt(area_mm2(SOLID.mesh) / 5000)
    x, _, z = mesh.corners_mm.mean(axis=1).T
    is_seam = joined.origin == JOINED
    assert (np.abs(x - 15.0)[is_seam] < 1.0 + step_mm).all()
    assert (is_seam | (shown.origin == Origin.FILLED))[(np.abs(x - 15.0) < 0.8) & (z > 1.0)].all()
    assert np.array_equal(joined.origin[~is_seam], shown.origin[~is_seam])
    assert [kind.words for kind in surfaces(joined)][-1] == "seam between scans, barred"


def test_the_legend_names_only_the_surface_there_is():
    whole = shown_mesh(SOLID, at_most=5000)
    measured = ShownMesh(whole.vertices_mm, whole.faces, np.zeros_like(whole.origin))
    assert [kind.words for kind in surfaces(measured)] == ["measured"]
    assert [kind.words for kind in surfaces(whole)] == [
        "measured",
        "filled in, striped",
        "rebuilt, dotted",
    ]
