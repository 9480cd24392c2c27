"""A file that ends before what it announces is told from a whole one."""

import io
import struct
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from verifier.bench.endings import lacks_its_end

PLY = "ply\nformat {}\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
PLY += "element face 1\nproperty list uchar int vertex_indices\nend_header\n"


def archive():
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as zipped:
        zipped.writestr("3D/3dmodel.model", "<model/>" * 50)
    return kept.getvalue()


WHOLE = {
    "binary.stl": b"solid by name only".ljust(80) + struct.pack("<I", 3) + bytes(range(150)),
    "text.stl": b"solid lever\nfacet normal 0 0 1\nendfacet\nendsolid lever\n",
    "archive.3mf": archive(),
    "glb.glb": b"glTF" + struct.pack("<II", 2, 40) + b"x" * 28,
    "binary.ply": PLY.format("binary_little_endian 1.0").encode() + b"v" * 36 + b"f" * 13,
    "text.ply": PLY.format("ascii 1.0").encode() + b"0 0 0\n1 0 0\n0 1 0\n3 0 1 2",
}


def lacks(folder, name, data):
    (folder / name).write_bytes(data)
    return lacks_its_end(folder / name)


@pytest.mark.parametrize("name", list(WHOLE))
def test_a_whole_file_has_its_end(tmp_path, name):
    assert not lacks(tmp_path, name, WHOLE[name])


@pytest.mark.parametrize("name", list(WHOLE))
def test_a_file_cut_off_anywhere_lacks_its_end(tmp_path, name):
    for length in range(len(WHOLE[name]) - (12 if name.startswith("text") else 1)):  # the last line may be cut short
        assert lacks(tmp_path, name, WHOLE[name][:length]), f"cut off after {length} bytes"


@given(st.binary(max_size=400))
def test_no_bytes_make_it_fail(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("any")
    for name in ("a.stl", "a.3mf", "a.glb", "a.ply", "a.obj", "a"):
        assert lacks(folder, name, data) in (True, False)
        assert lacks(folder, name, PLY.format("ascii 1.0").encode()[:100] + data) in (True, False)


def test_an_empty_file_lacks_its_end_whatever_it_is(tmp_path):
    assert lacks(tmp_path, "latch_lever.obj", b"")


def test_where_nothing_can_be_told_the_file_counts_as_whole(tmp_path):
    assert not lacks(tmp_path, "latch_lever.obj", b"v 0 0")
