"""Polygons into triangles: none lost, some at a time, and none that so few corners cannot carry."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, glb_of, glb_parts, mesh_xml, model_xml, object_xml, package, ring
from verifier.errors import Malformed, TooLarge
from verifier.mesh import Mesh
from verifier.reading import polygons
from verifier.reading.blocks import blocks
from verifier.reading.glb import read_glb
from verifier.reading.obj import read_obj
from verifier.reading.polygons import fan, refuse_crowded
from verifier.reading.three_mf import read_three_mf


@given(st.lists(st.integers(0, 9)), st.integers(1, 12))
def test_blocks_hold_every_item_once_and_stay_small(counts, most):
    found = list(blocks(np.array(counts, dtype=np.int64), most))
    assert [k for some in found for k in range(some.start, some.stop)] == list(range(len(counts)))
    assert all(sum(counts[some]) <= most + max(counts) for some in found)


@given(
    st.lists(st.lists(st.integers(0, 9), min_size=3, max_size=7), min_size=1, max_size=30),
    st.sampled_from([1, 5, 1 << 18]),
)
def test_every_polygon_becomes_the_fan_about_its_first_corner(faces, most):
    corners, counts = np.concatenate(faces), np.array([len(face) for face in faces])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(polygons, "blocks", lambda items: blocks(items, most))
        found, _ = fan(corners, counts, 10, 1000, "fence_clip.obj")
    assert_array_equal(found, [(face[0], face[k], face[k + 1]) for face in faces for k in range(1, len(face) - 1)])


def test_faces_of_no_corners_at_all_are_left_out_between_the_others():
    corners, counts = np.arange(603) % 9, np.array([3, 0, *[3] * 199, 3])
    found, notices = fan(corners, counts, 9, 1000, "fence_clip.obj")
    assert_array_equal(found, corners.reshape(-1, 3))
    assert notices == ("1 of 202 faces have fewer than three corners and were left out.",)


def test_a_surface_written_twice_over_is_no_crowd_and_one_face_again_and_again_is_one():
    mesh = ring(400, 200)
    refuse_crowded(np.concatenate([mesh.faces, mesh.faces]), 2 * len(mesh.faces), len(mesh.vertices_mm), "lever")
    with pytest.raises(Malformed, match="160,000 triangles over 3 corners"):
        refuse_crowded(np.tile([0, 1, 2], (160_000, 1)), 160_000, 80_000, "lever")


@pytest.mark.parametrize("corner", [-1, 3])
def test_a_corner_that_does_not_exist_is_refused_before_anything_is_cut(corner):
    with pytest.raises(Malformed, match="does not exist"):
        fan(np.array([0, 1, 2, corner]), np.array([4]), 3, 1000, "lever")


def test_a_polygon_of_one_corner_is_refused_before_its_triangles_are_made():
    """Two bytes a triangle in the file."""
    with pytest.raises(Malformed, match="same faces again and again"):
        read_obj(b"v 1 2 3\n" + (b"f" + b" 1" * 30_000 + b"\n") * 5, "fence_clip.obj", LIMITS)


COPIES = 100


@pytest.mark.parametrize("kind", ["3mf", "glb"])
def test_a_small_file_may_not_stand_for_millions_of_triangles(kind):
    """A scan is on its plate once, or a few times."""
    mesh = ring(120, 60)
    limits = LIMITS.model_copy(update={"max_triangles": 20_000_000})
    if kind == "3mf":
        model = model_xml(object_xml(1, mesh_xml(mesh)), '<item objectid="1"/>' * COPIES)
        with pytest.raises(TooLarge, match="far more than a file of its size holds"):
            read_three_mf(package(model), "fence_clip.3mf", limits)
    else:
        described, numbers = glb_parts(mesh)
        nodes = [{"children": [1] * COPIES}, {"mesh": 0}]
        with pytest.raises(TooLarge, match="far more than a file of its size holds"):
            read_glb(glb_of({**described, "nodes": nodes}, numbers), "fence_clip.glb", limits)


def test_a_plate_of_many_small_parts_is_read():
    model = model_xml(object_xml(1, mesh_xml(box())), '<item objectid="1"/>' * 900)
    raw = read_three_mf(package(model), "fence_clip.3mf", LIMITS)
    assert_array_equal(raw.vertices[raw.faces], np.tile(box().corners_mm, (900, 1, 1)))
    assert len(Mesh(raw.vertices, raw.faces).faces) == 900 * 12
