"""Every format comes back as it was written, and as other libraries write it."""

import hashlib
import importlib.resources
from io import BytesIO

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose, assert_array_equal

from tests.reading.examples import WRITERS, box, ring, rules
from verifier.mesh import extents_mm, volume_mm3
from verifier.reading import read_scan

FORMATS = {
    "latch_lever.stl": "binary STL",
    "latch_lever.text.stl": "text STL",
    "latch_lever.text.ply": "PLY",
    "latch_lever.ply": "PLY",
    "latch_lever.big.ply": "PLY",
    "latch_lever.obj": "OBJ",
    "latch_lever.off": "OFF",
    "latch_lever.3mf": "3MF",
    "latch_lever.glb": "GLB",
}


@pytest.mark.parametrize("name", WRITERS)
def test_every_triangle_comes_back_bit_for_bit_in_its_order(dropped, name):
    mesh = ring()
    data = WRITERS[name](mesh)
    scan = read_scan(dropped(data, name), rules(max_coordinate_mm=1e6))
    assert_array_equal(scan.mesh.corners_mm, mesh.corners_mm * (1000 if name.endswith(".glb") else 1))
    assert scan.source.format == FORMATS[name]
    assert scan.source.sha256 == hashlib.sha256(data).hexdigest()
    assert scan.source.size_bytes == len(data)
    assert scan.mesh.vertices_mm.dtype == np.float64
    assert scan.mesh.faces.dtype == np.int64


@pytest.mark.parametrize("name", WRITERS)
def test_the_content_decides_the_format_and_not_the_name(dropped, name):
    scan = read_scan(dropped(WRITERS[name](ring()), "latch_lever.scan"), rules(max_coordinate_mm=1e6))
    assert scan.source.format == FORMATS[name]


@pytest.mark.parametrize(
    ("kind", "given"),
    [
        ("stl", {}),
        ("stl_ascii", {}),
        ("ply", {}),
        ("ply", {"encoding": "ascii"}),
        ("obj", {}),
        ("off", {}),
        ("3mf", {}),
        ("glb", {}),
    ],
    ids=lambda value: str(value),
)
def test_what_a_second_library_writes_is_read(dropped, kind, given):
    """trimesh is the second library."""
    mesh = ring()
    written = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False).export(file_type=kind, **given)
    data = written.encode() if isinstance(written, str) else written
    scan = read_scan(dropped(data, "latch_lever." + kind), rules(max_coordinate_mm=1e6))
    assert len(scan.mesh.faces) == len(mesh.faces)
    # Its texts have eight decimals: half of the last is 5e-9 mm.
    assert_allclose(scan.mesh.corners_mm / scan.unit.factor_mm, mesh.corners_mm, rtol=0, atol=5.1e-9)


@pytest.mark.parametrize("name", [name for name in WRITERS if "big" not in name])
def test_a_second_library_reads_the_same_from_the_same_file(name):
    """trimesh again, as a reader; a ring's volume does not depend on the order of its triangles."""
    mesh = ring()
    kind = name.rpartition(".")[2]
    other = trimesh.load(BytesIO(WRITERS[name](mesh)), file_type=kind, force="mesh", process=False)
    assert len(other.faces) == len(mesh.faces)
    assert other.volume == pytest.approx(volume_mm3(mesh), rel=1e-9)


@pytest.mark.parametrize(
    ("name", "corners", "faces", "extents"),
    [
        ("StanfordBunny.ply", 50_000, 99_785, (49.9551, 38.6983, 49.3860)),
        ("planar_mesh.ply", 1403, 2553, (42.1528, 10.2647, 11.0795)),
    ],
)
def test_the_scans_that_come_with_pymeshfix_are_read_whole(name, corners, faces, extents):
    """Counts as the files' own headers announce them; extents measured with another reader, to 1e-4."""
    path = importlib.resources.files("pymeshfix") / "examples" / name
    scan = read_scan(path, rules())
    assert (len(scan.mesh.vertices_mm), len(scan.mesh.faces)) == (corners, faces)
    assert extents_mm(scan.mesh) == pytest.approx(extents, abs=1e-4)  # as printed


def test_no_file_of_another_name_is_opened_or_altered(dropped, tmp_path):
    data = b"mtllib surface.mtl\nusemtl steel\n" + WRITERS["latch_lever.obj"](box())
    path = dropped(data, "latch_lever.obj")
    read_scan(path, rules())
    assert path.read_bytes() == data
    assert [each.name for each in tmp_path.iterdir()] == ["latch_lever.obj"]
