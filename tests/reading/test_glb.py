"""GLB: metres, nodes placed in nodes, and descriptions that lie."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.spatial.transform import Rotation

from tests.reading.examples import LIMITS, box, glb, glb_of, glb_parts, overall, ring, rules
from verifier.errors import Malformed, NotAMesh, NoTriangles, TooLarge, Truncated, UnitUnclear, VerifierError
from verifier.mesh import Mesh, extents_mm, volume_mm3
from verifier.reading import read_scan
from verifier.reading.glb import read_glb


def read(data, **limits):
    return read_glb(data, "seat_armrest.glb", LIMITS.model_copy(update=limits))


def changed(mesh, **description):
    """The GLB of a mesh with parts of its description replaced."""
    known, numbers = glb_parts(mesh)
    return glb_of({**known, **description}, numbers)


def test_metres_become_millimetres(dropped):
    """glTF 2.0, 3.4: the unit of all lengths is the metre."""
    scan = read_scan(dropped(glb(box(0.25, 0.0625, 0.03125)), "seat_armrest.glb"), rules())
    assert (scan.unit.name, scan.unit.known_by) == ("m", "file")
    assert_array_equal(extents_mm(scan.mesh), [250, 62.5, 31.25])


def test_millimetres_in_a_format_of_metres_are_found_by_the_sheet_and_put_right_by_it(dropped):
    """Some exporters write their millimetres into it all the same."""
    path = dropped(glb(box()), "latch_lever.glb")
    with pytest.raises(UnitUnclear, match="the file says its unit is m") as refused:
        read_scan(path, rules(), overall(84.0))
    assert 'unit = "mm"' in refused.value.do
    assert_array_equal(extents_mm(read_scan(path, rules(), overall(84.0, unit="mm")).mesh), [84, 22, 9])


def test_nodes_are_placed_within_their_parents_as_scipy_turns_them():
    """Scale, then turn, then shift; the child first, then its parent; matrices listed column by column."""
    turn = Rotation.from_euler("xyz", [0.3, -0.7, 1.1])
    outer = np.eye(4)
    outer[:3, :3], outer[:3, 3] = Rotation.from_euler("z", 0.5).as_matrix(), [1, 2, 3]
    child = {"mesh": 0, "translation": [5, 6, 7], "rotation": turn.as_quat().tolist(), "scale": [2, 3, 4]}
    parent = {"children": [1], "matrix": outer.T.ravel().tolist()}
    raw = read(changed(box(), nodes=[parent, child]))
    inner = turn.apply(box().vertices_mm * [2, 3, 4]) + np.array([5, 6, 7])
    assert_allclose(raw.vertices, inner @ outer[:3, :3].T + [1, 2, 3], atol=1e-12)


def test_a_mirrored_node_still_faces_outwards():
    raw = read(changed(ring(), nodes=[{"mesh": 0, "scale": [-1, 1, 1]}]))
    assert volume_mm3(Mesh(raw.vertices, raw.faces)) == pytest.approx(volume_mm3(ring()), rel=1e-9)


def test_triangles_without_indices_and_numbers_with_gaps_are_read():
    soup = box().corners_mm.reshape(-1, 3)
    padded = np.concatenate([soup, np.full((36, 1), 9.0)], axis=1).astype("<f4").tobytes()
    description = {
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [{"attributes": {"POSITION": 0, "NORMAL": 7}}, {"attributes": {}, "mode": 1}]}],
        "accessors": [{"bufferView": 0, "componentType": 5126, "count": 36, "type": "VEC3"}],
        "bufferViews": [{"buffer": 0, "byteLength": len(padded), "byteStride": 16}],
    }
    raw = read(glb_of(description, padded))
    assert_array_equal(raw.vertices[raw.faces], box().corners_mm)


ACCESSORS = glb_parts(box())[0]["accessors"]
VIEWS = glb_parts(box())[0]["bufferViews"]


@pytest.mark.parametrize(
    ("description", "error"),
    [
        ({"scenes": []}, NoTriangles),
        ({"nodes": []}, Malformed),
        ({"nodes": [{"mesh": 1}]}, Malformed),
        ({"nodes": [{"mesh": -1}]}, Malformed),
        ({"nodes": [{"mesh": 0, "matrix": [1, 0, 0]}]}, Malformed),
        ({"nodes": [{"mesh": 0, "matrix": [1, 0, 0, 1] * 4}]}, Malformed),
        ({"nodes": [{"children": [0]}]}, TooLarge),
        ({"nodes": [{"children": [1, 1]}] + [{"children": [k + 2] * 2} for k in range(30)] + [{"mesh": 0}]}, TooLarge),
        ({"meshes": [{"primitives": [{"attributes": {}}]}]}, Malformed),
        ({"meshes": [{"primitives": [{"attributes": {"POSITION": 5}}]}]}, Malformed),
        ({"meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "mode": 5}]}]}, NoTriangles),
        ({"meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "count": 9}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "count": 2**52}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "count": 0}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "byteOffset": 4}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "componentType": 5120}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "type": "VEC4"}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [{**ACCESSORS[0], "sparse": {}}, ACCESSORS[1]]}, Malformed),
        ({"accessors": [ACCESSORS[0], {**ACCESSORS[1], "componentType": 5126, "count": 6}]}, Malformed),
        ({"accessors": [ACCESSORS[0], {**ACCESSORS[1], "count": 35}]}, Malformed),
        ({"bufferViews": [{**VIEWS[0], "buffer": 1}, VIEWS[1]]}, Malformed),
        ({"bufferViews": [{**VIEWS[0], "byteLength": 10_000}, VIEWS[1]]}, Malformed),
        ({"extensionsRequired": ["KHR_draco_mesh_compression"]}, NotAMesh),
        ({"accessors": "none"}, Malformed),
    ],
)
def test_a_description_that_lies_is_refused(description, error):
    with pytest.raises(error):
        read(changed(box(), **description))


def test_an_extension_that_leaves_the_corners_alone_is_accepted():
    assert len(read(changed(box(), extensionsRequired=["KHR_materials_unlit"])).faces) == 12


def test_more_or_fewer_bytes_than_announced_are_refused():
    with pytest.raises(Truncated, match="announces"):
        read(glb(box())[:-1])
    with pytest.raises(Malformed):
        read(glb(box()) + b"\0")


def test_a_description_nested_without_end_is_refused():
    deep = b'{"asset":' + b"[" * 100_000 + b"]" * 100_000 + b"}"
    data = glb(box())
    for text in (deep, b"\xff" * 8, b"null"):
        whole = b"glTF" + data[4:8] + (20 + len(text)).to_bytes(4, "little") + len(text).to_bytes(4, "little") + b"JSON"
        with pytest.raises(VerifierError):
            read(whole + text)


def test_one_mesh_placed_beyond_the_limit_of_triangles_is_refused():
    nodes = [{"children": [1] * 900}, {"mesh": 0}]
    with pytest.raises(TooLarge, match="triangles"):
        read(changed(ring(), nodes=nodes))


def test_a_description_of_more_than_a_megabyte_is_refused():
    with pytest.raises(Malformed, match="its description has"):
        read_glb(glb_of({"nodes": [{}] * 300_000}, b""), "fence_clip.glb", LIMITS)
