import igl
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inbox_demo import simulated
from tests.comparing.test_cloud import BOX
from verifier.comparing.distances import nearest_on, searchable
from verifier.mesh import Mesh

EXACT_MM = 1e-5
SIZE = np.array([60.0, 30.0, 4.0])
PLACES = st.tuples(st.floats(-20, 80), st.floats(-20, 50), st.floats(-20, 24))


def to_box(points):
    """The closed form: beyond the faces the length of what is beyond, inside the least depth."""
    beyond = np.abs(points - SIZE / 2.0) - SIZE / 2.0
    return np.linalg.norm(np.maximum(beyond, 0.0), axis=1) + np.minimum(beyond.max(axis=1), 0.0)


@given(st.lists(PLACES, min_size=1, max_size=30))
def test_the_distance_from_a_box_is_the_closed_form_at_faces_edges_corners_and_inside(places):
    points = np.array(places)
    assert nearest_on(searchable(BOX), points).away_mm == pytest.approx(to_box(points), abs=EXACT_MM)


def test_distances_and_signs_are_those_of_a_second_library_on_a_scan():
    scan = simulated.scan(simulated.latch_lever(), spacing_mm=1.0, seed=31)
    rng = np.random.default_rng(31)
    points = scan.vertices_mm[rng.integers(0, len(scan.vertices_mm), 8000)] + rng.normal(scale=1.5, size=(8000, 3))
    points = np.concatenate([points, scan.vertices_mm, scan.vertices_mm[scan.faces].mean(axis=1)])
    theirs = igl.signed_distance(points, scan.vertices_mm, scan.faces, sign_type=igl.SIGNED_DISTANCE_TYPE_PSEUDONORMAL)[
        0
    ]
    ours = nearest_on(searchable(Mesh(scan.vertices_mm, scan.faces)), points)
    assert np.abs(ours.away_mm - theirs).max() < EXACT_MM
    assert np.linalg.norm(points - ours.places_mm, axis=1) == pytest.approx(np.abs(ours.away_mm), abs=EXACT_MM)


def test_triangles_without_area_change_no_distance_and_give_no_false_number():
    # An edge cut at a point of one side only leaves a triangle without area between the two sides.
    vertices = np.concatenate([BOX.vertices_mm, [[30.0, 0.0, 0.0]], [BOX.vertices_mm[0]]])
    faces = np.concatenate([BOX.faces, [[0, 8, 4], [9, 0, 0], [0, 4, 4], [8, 8, 8]]])
    points = np.random.default_rng(32).uniform(-10, 70, size=(3000, 3))
    points = np.concatenate([points, vertices, [[30.0, -1.0, -1.0], [30.0, 0.5, 0.5]]])
    found = nearest_on(searchable(Mesh(vertices, faces)), points)
    assert np.isfinite(found.away_mm).all()
    assert found.away_mm == pytest.approx(to_box(points), abs=EXACT_MM)
    assert found.faces.max() < len(BOX.faces)


def test_beyond_a_knife_edge_the_sign_is_that_of_both_its_faces():
    # Two faces that meet at 10 degrees: beyond the edge a point lies behind one face's own plane, and yet outside.
    rise = 20.0 * np.tan(np.radians(5.0))
    vertices = np.array([[0, 0, 0], [0, 9, 0], [20, 0, rise], [20, 9, rise], [20, 0, -rise], [20, 9, -rise]], float)
    faces = np.array([[0, 2, 3], [0, 3, 1], [0, 1, 5], [0, 5, 4], [2, 4, 5], [2, 5, 3], [0, 4, 2], [1, 3, 5]])
    points = np.array([[-1.0, 4.5, 0.3], [-1.0, 4.5, -0.3], [1.0, 4.5, 0.0], [10.0, 4.5, 0.0]])
    assert np.sign(nearest_on(searchable(Mesh(vertices, faces)), points).away_mm).tolist() == [1, 1, -1, -1]


def test_a_mesh_without_area_is_told():
    with pytest.raises(ValueError, match="area"):
        searchable(Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])))
