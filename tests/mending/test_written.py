"""What is delivered is closed in its file: read again by our reader and by a second library, judged by other code."""

from io import BytesIO

import faults
import lib3mf
import numpy as np
import pytest
import trimesh
from second_judge import Flaws, flaws_of
from test_laws import with_everything

from verifier.errors import CannotDeliver
from verifier.mending import mend
from verifier.mending.welding import weld_equal
from verifier.mesh import Mesh
from verifier.reading import read_scan
from verifier.reporting.mesh_files import stl_bytes, three_mf_bytes
from verifier.reporting.written import refuse_open_stl, refuse_open_three_mf
from verifier.rulebook import load_rules
from verifier.shipped import rules_folder

Arrays = tuple[np.ndarray, np.ndarray]


def faulty(make, seed: int) -> Mesh:
    """Holes, flipped faces, doubled faces, fins, specks, folds, pinches and wrong welds, in a pose of its own."""
    rng = np.random.default_rng(seed)
    mesh, _ = with_everything(make(), rng)
    mesh = weld_equal(mesh).mesh
    for _ in range(3):
        mesh = faults.with_fold(mesh, faults.some_place(mesh, rng), rng.uniform(0.4, 1.0))
    mesh = faults.with_wrong_welds(faults.with_bowties(mesh, rng, 3)[0], rng, 3)
    return faults.turned(faults.unwelded(mesh), rng)


def as_our_reader_reads(name: str, data: bytes, folder) -> Arrays:
    (folder / name).write_bytes(data)
    mesh = read_scan(folder / name, load_rules(rules_folder())).mesh
    return mesh.vertices_mm, mesh.faces


def as_trimesh_reads(data: bytes) -> Arrays:
    mesh = trimesh.load(BytesIO(data), file_type="stl", process=False)
    return np.asarray(mesh.vertices, dtype=np.float64), np.asarray(mesh.faces)


def as_lib3mf_reads(data: bytes) -> Arrays:
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromBuffer(data)
    objects = model.GetMeshObjects()
    assert objects.MoveNext()
    found = objects.GetCurrentMeshObject()
    corners = np.array([list(corner.Coordinates) for corner in found.GetVertices()], dtype=np.float64)
    faces = np.array([list(face.Indices) for face in found.GetTriangleIndices()], dtype=np.int64)
    assert reader.GetWarningCount() == 0
    assert not objects.MoveNext()
    return corners, faces


def welded(points: np.ndarray, faces: np.ndarray) -> Arrays:
    """Corners in one place made one, by sorting, in the 32-bit numbers that whoever prints the file holds."""
    places, number = np.unique(points.astype(np.float32) + np.float32(0), axis=0, return_inverse=True)
    return places.astype(np.float64), number.reshape(-1)[faces]


@pytest.mark.parametrize(("make", "seed"), tuple(zip(faults.ALL_PARTS, (510, 511, 512, 513), strict=True)))
def test_a_mended_part_is_closed_in_its_files_and_crosses_itself_nowhere(make, seed, tmp_path):
    """One judgement serves all four readings where all four hold the same surface to the bit."""
    solid = mend(faults.scan_of(faulty(make, seed)))
    stl, three_mf = stl_bytes(solid.mesh, "fence_clip"), three_mf_bytes(solid.mesh, "fence_clip")
    readings = (
        as_our_reader_reads("fence_clip.stl", stl, tmp_path),
        as_trimesh_reads(stl),
        as_our_reader_reads("fence_clip.3mf", three_mf, tmp_path),
        as_lib3mf_reads(three_mf),
    )
    first = welded(*readings[0])
    assert len(first[1]) == len(solid.mesh.faces)
    for other in (welded(*reading) for reading in readings[1:]):
        assert np.array_equal(first[0], other[0])
        assert np.array_equal(first[1], other[1])
    found = flaws_of(*first)
    assert (found.edges, found.corners, found.piercings) == (0, 0, 0)
    assert found.volume_mm3 == pytest.approx(make().volume_mm3, rel=2e-3)  # folds and wrong welds cost it a thousandth
    refuse_open_three_mf(solid.mesh, "fence_clip.3mf")
    refuse_open_stl(solid.mesh, "fence_clip.stl")


def test_the_second_judge_finds_every_flaw():
    """Or its zeros above would say nothing."""
    mesh, rng = faults.pump_rocker().mesh, np.random.default_rng(514)
    assert judged(mesh) == (0, 0, 0)
    assert judged(Mesh(mesh.vertices_mm, mesh.faces[1:]))[0] > 0
    assert judged(faults.with_flipped(mesh, np.arange(len(mesh.faces)) == 5))[0] > 0
    assert judged(faults.with_bowties(mesh, rng, 2)[0])[:2] == (0, 2)
    folded = judged(faults.with_fold(mesh, np.array([12.0, 0.0, 4.0]), 2.0))
    assert folded[:2] == (0, 0)
    assert folded[2] > 0


def judged(mesh: Mesh) -> tuple[int, int, int]:
    found: Flaws = flaws_of(mesh.vertices_mm, mesh.faces)
    return found.edges, found.corners, found.piercings


def test_a_part_that_rounding_pinches_together_far_from_the_origin_is_delivered_as_3mf_and_not_as_stl():
    """Two corners across a thin wall 2e-5 mm apart: 1000 mm out a 32-bit float has steps of 6e-5 mm."""
    mesh = faults.latch_lever().mesh
    one, other = faults.pinched(mesh)
    vertices = mesh.vertices_mm.copy()
    vertices[other] = vertices[one] + np.array([0.0, 2e-5, 0.0])
    far = Mesh(np.round(vertices, 5) + np.array([1000.0, 1000.0, 1000.0]), mesh.faces)
    refuse_open_three_mf(far, "latch_lever.3mf")
    with pytest.raises(CannotDeliver) as refused:
        refuse_open_stl(far, "latch_lever.stl")
    assert "1 corners join surfaces by a point" in refused.value.what
    assert "Print the 3MF" in refused.value.do


@pytest.mark.parametrize("spoiled", ["open", "turned inside out"])
def test_a_mesh_that_is_no_closed_solid_is_never_delivered(spoiled):
    mesh = faults.latch_lever().mesh
    bad = faults.inside_out(mesh) if spoiled != "open" else Mesh(mesh.vertices_mm, mesh.faces[:-1])
    for refuse in (refuse_open_three_mf, refuse_open_stl):
        with pytest.raises(CannotDeliver):
            refuse(bad, "latch_lever.3mf")
