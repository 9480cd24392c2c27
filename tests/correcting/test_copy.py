import manifold3d
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import floats, integers

from inbox_demo import simulated
from verifier.correcting.copy import true_copy
from verifier.correcting.correction import Correction, Term
from verifier.correcting.offset import offset_inwards
from verifier.finding.feature import Features, Noise
from verifier.mending.solid import Origin, Solid
from verifier.mesh import Array, Mesh, area_mm2, extents_mm, face_vectors_mm2, volume_mm3

COAT_MM = 0.05
NO_FEATURES = Features((), (), (), Noise(0.0, 0.0, 1.0))


def correction(*, scale: float | None = None, coat_mm: float | None = None) -> Correction:
    """Only the terms that are given are applied."""
    return Correction(
        scale=Term(scale or 1.0, 1e-4, scale is not None, ""),
        coat=Term(coat_mm or 0.0, 1e-3, coat_mm is not None, ""),
        coat_inside=Term(coat_mm or 0.0, 1e-3, coat_mm is not None, ""),
        covariance=np.eye(3),
        sizes=(),
        chi2=0.0,
        dof=0,
        separable=True,
    )


def as_mesh(body: manifold3d.Manifold) -> Mesh:
    raw = body.to_mesh()
    return Mesh(np.asarray(raw.vert_properties[:, :3], dtype=float), np.asarray(raw.tri_verts, dtype=np.int64))


def as_solid(mesh: Mesh) -> Solid:
    return Solid(mesh, np.full(len(mesh.faces), Origin.MEASURED, dtype=np.uint8))


def plate(coat_mm: float, fine: bool = False) -> Mesh:
    """60 x 40 x 8 with two bores of 10 at 30 mm, everything thicker by the coat on every face."""
    body = manifold3d.Manifold.cube((60 + 2 * coat_mm, 40 + 2 * coat_mm, 8 + 2 * coat_mm), center=True)
    for x in (-15.0, 15.0):
        tool = manifold3d.Manifold.cylinder(20, 5 - coat_mm, circular_segments=96, center=True)
        body -= tool.translate((x, 0, 0))
    return as_mesh(body.refine_to_length(1.0) if fine else body)


def bore_of(mesh: Mesh, x: float) -> tuple[Array, float]:
    """Middle and diameter of the corners on the wall of a bore; a refined face has points near the mouth as well."""
    from_axis = mesh.vertices_mm[:, :2] - [x, 0.0]
    near = np.hypot(*from_axis.T) < 6.0
    inside = near & (np.abs(mesh.vertices_mm[:, 2]) < 3.5)
    wall = mesh.vertices_mm[inside if inside.any() else near, :2]
    middle = (wall.min(axis=0) + wall.max(axis=0)) / 2
    return middle, 2 * float(np.hypot(*(wall - middle).T).max())


def is_closed(mesh: Mesh) -> bool:
    """Every edge runs once each way, and manifold3d takes the body for valid."""
    a, b = mesh.faces[:, [0, 1, 2]].ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    forth, back = set(zip(a.tolist(), b.tolist(), strict=True)), set(zip(b.tolist(), a.tolist(), strict=True))
    return forth == back and len(forth) == 3 * len(mesh.faces)


@pytest.mark.parametrize("fine", [False, True])
def test_the_coat_leaves_walls_thinner_bores_wider_and_centres_where_they_were(fine: bool) -> None:
    copy = offset_inwards(plate(COAT_MM, fine), COAT_MM)
    assert extents_mm(copy) == pytest.approx([60.0, 40.0, 8.0], abs=1e-3)
    (left, left_mm), (right, right_mm) = bore_of(copy, -15.0), bore_of(copy, 15.0)
    assert (left_mm, right_mm) == (pytest.approx(10.0, abs=1e-3), pytest.approx(10.0, abs=1e-3))
    assert np.linalg.norm(right - left) == pytest.approx(30.0, abs=1e-3)
    assert is_closed(copy)


def test_a_box_keeps_its_sharp_edges_and_flat_faces() -> None:
    box = as_mesh(manifold3d.Manifold.cube((30, 20, 10)).refine(8))
    copy = offset_inwards(box, COAT_MM)
    inside = copy.vertices_mm
    assert (inside.min(axis=0), inside.max(axis=0)) == (
        pytest.approx([0.05, 0.05, 0.05], abs=1e-6),
        pytest.approx([29.95, 19.95, 9.95], abs=1e-6),
    )
    # Every corner still lies on a face of the smaller box, so no edge was rounded and no face dished.
    to_face = np.minimum(np.abs(inside - 0.05), np.abs(inside - [29.95, 19.95, 9.95])).min(axis=1)
    assert to_face.max() < 1e-6
    assert volume_mm3(copy) == pytest.approx(29.9 * 19.9 * 9.9, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(seed=integers(0, 1000), coat_mm=floats(0.01, 0.15))
def test_the_way_the_part_lies_does_not_change_what_the_coat_takes(seed: int, coat_mm: float) -> None:
    turn = simulated.rotation(seed)
    lying = plate(COAT_MM)
    turned = Mesh(lying.vertices_mm @ turn.T, lying.faces)
    copy = offset_inwards(lying, coat_mm).vertices_mm @ turn.T
    # Normals are averaged in single precision, 6e-8 of a coat of 0.15 mm.
    assert offset_inwards(turned, coat_mm).vertices_mm == pytest.approx(copy, abs=1e-7)


def test_a_noisy_scan_loses_exactly_the_coat_and_none_of_its_faces_turns_over() -> None:
    """Scatter of 0.03 mm and points 0.3 mm apart: single faces lean by ten degrees and more."""
    scan = simulated.scan(
        simulated.latch_lever(), spacing_mm=0.3, white_mm=0.02, correlated_mm=0.02, coat_mm=COAT_MM, seed=5
    )
    mesh = Mesh(scan.vertices_mm, scan.faces)
    copy = offset_inwards(mesh, COAT_MM)
    moved = np.einsum("ij,ij->i", mesh.vertices_mm - copy.vertices_mm, scan.normals)
    flat = np.abs((scan.normals @ scan.turn)[:, 2]) > 0.999999
    assert flat.sum() > 10_000
    assert moved[flat].mean() == pytest.approx(COAT_MM, abs=5e-4)  # a hundredth of the coat
    assert moved[flat].std() < 2e-3
    assert np.all(np.einsum("ij,ij->i", face_vectors_mm2(mesh), face_vectors_mm2(copy)) > 0)
    assert is_closed(copy)


def test_a_coat_thicker_than_the_faces_are_long_turns_no_face_over() -> None:
    mesh = plate(COAT_MM, fine=True)
    copy = offset_inwards(mesh, 0.8)
    before, after = face_vectors_mm2(mesh), face_vectors_mm2(copy)
    assert np.all(np.einsum("ij,ij->i", before, after) > 0)


def test_the_scale_is_taken_out_about_the_origin() -> None:
    mesh = plate(0.0)
    far = Mesh(mesh.vertices_mm + np.array([100.0, 0.0, 0.0]), mesh.faces)
    copy = true_copy(as_solid(far), correction(scale=1.02), NO_FEATURES).mesh
    assert copy.vertices_mm * 1.02 == pytest.approx(far.vertices_mm, abs=1e-12)


def test_coat_and_scale_together_give_the_true_part() -> None:
    """scan = scale * true + walls * coat: the coat is as thick as the scanner shows it."""
    coated = plate(COAT_MM / 1.01)
    scan = Mesh(coated.vertices_mm * 1.01, coated.faces)
    copy = true_copy(as_solid(scan), correction(scale=1.01, coat_mm=COAT_MM), NO_FEATURES).mesh
    assert extents_mm(copy) == pytest.approx([60.0, 40.0, 8.0], abs=1e-3)


def test_faces_and_their_origins_stay_as_they_were() -> None:
    mesh = plate(COAT_MM)
    origin = np.zeros(len(mesh.faces), dtype=np.uint8)
    origin[:7] = Origin.FILLED
    copy = true_copy(Solid(mesh, origin), correction(scale=1.003, coat_mm=COAT_MM), NO_FEATURES)
    assert np.array_equal(copy.mesh.faces, mesh.faces)
    assert np.array_equal(copy.origin, origin)
    assert area_mm2(mesh) > area_mm2(copy.mesh)


def test_a_scan_that_needs_no_correction_comes_back_to_the_last_bit() -> None:
    solid = as_solid(plate(0.0))
    assert true_copy(solid, correction(), NO_FEATURES) is solid


def test_the_given_mesh_is_not_altered() -> None:
    mesh = plate(COAT_MM)
    before = mesh.vertices_mm.copy()
    true_copy(as_solid(mesh), correction(scale=1.003, coat_mm=COAT_MM), NO_FEATURES)
    assert np.array_equal(mesh.vertices_mm, before)
