"""The meshes written for the printer: exact, the same on any day, and as other libraries read them."""

import io
import zipfile
from io import BytesIO

import lib3mf
import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, ring
from verifier.mesh import Mesh, area_mm2, volume_mm3
from verifier.reading.stl_binary import read_stl_binary
from verifier.reading.three_mf import read_three_mf
from verifier.reporting.mesh_files import stl_bytes, three_mf_bytes


def read_back(data):
    return read_three_mf(data, "latch_lever.3mf", LIMITS)


def as_lib3mf_reads(data, tmp_path):
    path = tmp_path / "latch_lever.3mf"
    path.write_bytes(data)
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    objects = model.GetMeshObjects()
    assert objects.MoveNext()
    found = objects.GetCurrentMeshObject()
    assert not objects.MoveNext()
    return model, found, reader.GetWarningCount()


def test_a_mesh_of_32_bit_numbers_comes_back_from_its_3mf_exactly():
    mesh = ring()
    raw = read_back(three_mf_bytes(mesh, "latch_lever"))
    assert_array_equal(raw.vertices.astype(np.float32), mesh.vertices_mm)
    assert_array_equal(raw.faces, mesh.faces)
    assert (raw.unit, raw.notices) == ("mm", ())


def test_the_consortium_s_library_accepts_it_in_its_strict_mode(tmp_path):
    """lib3mf, strict: one manifold, oriented model object in millimetres, without a warning."""
    mesh = ring()
    model, found, warnings = as_lib3mf_reads(three_mf_bytes(mesh, "latch_lever"), tmp_path)
    assert warnings == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert found.GetName() == "latch_lever"
    assert found.IsManifoldAndOriented()
    assert (found.GetVertexCount(), found.GetTriangleCount()) == (len(mesh.vertices_mm), len(mesh.faces))
    corners = np.array([list(corner.Coordinates) for corner in found.GetVertices()])
    assert_array_equal(corners, mesh.vertices_mm)  # lib3mf holds 32-bit numbers, as the ring's are


def test_trimesh_reads_the_same_volume_from_both_files():
    mesh = ring()
    for kind, data in (("3mf", three_mf_bytes(mesh, "ring")), ("stl", stl_bytes(mesh))):
        other = trimesh.load(BytesIO(data), file_type=kind, force="mesh", process=False)
        assert len(other.faces) == len(mesh.faces)
        # Nine digits of a size under 100 mm: no corner is off by more than 5e-8 mm.
        assert other.volume == pytest.approx(volume_mm3(mesh), abs=5e-8 * area_mm2(mesh))


def test_corners_that_differ_by_two_micrometres_stay_two():
    """Copies of one corner where two fans meet in a point, split on purpose so that the edges stay manifold."""
    mesh = ring()
    vertices = np.concatenate([mesh.vertices_mm, mesh.vertices_mm[:50] + np.array([0.0, 0.0, 0.002])])
    faces = np.concatenate([mesh.faces, np.arange(len(mesh.vertices_mm), len(vertices)).repeat(3).reshape(-1, 3)])
    raw = read_back(three_mf_bytes(Mesh(vertices, faces), "bow_tie"))
    assert len(np.unique(raw.vertices.astype(np.float32), axis=0)) == len(vertices)


@given(
    base=arrays(np.float64, (4, 3), elements=st.floats(-1000, 1000, allow_subnormal=False)),
    apart=st.sampled_from([1e-2, 1e-5, 1e-8, 1e-11, 0.0]),
)
@settings(max_examples=100, deadline=None)
def test_corners_that_differ_at_all_stay_different_and_none_moves(base, apart):
    vertices = np.concatenate([base, base + apart])
    faces = np.array([[0, 1, 2], [4, 5, 6], [1, 2, 3]])
    found = read_back(three_mf_bytes(Mesh(vertices, faces), "x")).vertices
    # Half a step of a 32-bit number at a metre is 3.1e-5 mm.
    assert np.abs(found - vertices).max() <= 3.1e-5
    assert len(np.unique(found, axis=0)) == len(np.unique(vertices + 0.0, axis=0))


def test_the_same_mesh_gives_the_same_bytes_on_any_day(monkeypatch):
    first = three_mf_bytes(ring(), "latch_lever")
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    assert three_mf_bytes(ring(), "latch_lever") == first
    with zipfile.ZipFile(io.BytesIO(first)) as package:
        assert {info.date_time for info in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert package.namelist() == ["[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"]


@pytest.mark.parametrize("name", ['lever "A" <left> & right', "Hebel für Süd", "a\x00b\x1bc\udcff", ""])
def test_any_name_makes_well_formed_xml(name, tmp_path):
    data = three_mf_bytes(box(), name)
    _, found, _ = as_lib3mf_reads(data, tmp_path)
    assert found.GetName() == "".join(letter if letter.isprintable() else "\ufffd" for letter in name)
    assert_array_equal(read_back(data).faces, box().faces)


def test_the_steps_between_chunks_lose_no_row():
    mesh = ring(300, 120)
    assert len(mesh.faces) > 65_536
    raw = read_back(three_mf_bytes(mesh, "ring"))
    assert_array_equal(raw.faces, mesh.faces)
    assert_array_equal(raw.vertices.astype(np.float32), mesh.vertices_mm)


def test_an_stl_has_outward_normals_and_its_corners_exactly():
    data = stl_bytes(box(), "latch_lever in millimetres")
    raw = read_stl_binary(data, "latch_lever.stl", LIMITS)
    assert_array_equal(raw.vertices, box().corners_mm.reshape(-1, 3))
    assert data.startswith(b"latch_lever in millimetres ")
    normals = np.frombuffer(data, dtype="<f4", count=3, offset=84)
    assert_array_equal(normals, [-1, 0, 0])


@pytest.mark.parametrize("header", ["solid latch_lever", "x" * 200, "Süd", ""])
def test_an_stl_is_as_long_as_its_count_whatever_its_header(header):
    data = stl_bytes(box(), header)
    assert len(data) == 84 + 50 * 12
    assert int.from_bytes(data[80:84], "little") == 12
    assert not data.lower().startswith(b"solid")
