import numpy as np

from verifier.mending.edges import pair_edges
from verifier.mending.loops import longest, open_loops
from verifier.mesh import Mesh


def walked(faces: list[list[int]]) -> list[list[int]]:
    """Every loop as its corners, the lowest first."""
    edges = pair_edges(np.array(faces), int(np.max(faces)) + 1)
    corners = [edges.start[loop].tolist() for loop in open_loops(edges)]
    return [loop[loop.index(min(loop)) :] + loop[: loop.index(min(loop))] for loop in corners]


def test_three_faces_that_share_one_corner_have_one_border():
    (loop,) = walked([[0, 1, 2], [0, 3, 4], [0, 5, 6]])
    assert sorted(loop) == [0, 0, 0, 1, 2, 3, 4, 5, 6]


def test_two_faces_that_share_one_corner_have_one_border():
    (loop,) = walked([[0, 1, 2], [0, 3, 4]])
    assert sorted(loop) == [0, 0, 1, 2, 3, 4]


def test_a_border_that_ends_at_an_edge_of_three_faces_is_no_loop():
    loops = walked([[0, 1, 2], [1, 0, 3], [0, 1, 4], [5, 6, 7]])
    assert loops == [[5, 6, 7]]


def test_faces_that_look_opposite_ways_do_not_keep_the_walk_going_for_ever():
    loops = walked([[0, 1, 2], [0, 1, 3], [5, 6, 7]])
    assert [5, 6, 7] in loops


def test_the_longest_loop_is_so_in_millimetres_however_fine_the_others_are():
    """A table of three long edges, and a disc a thousandth as wide with twelve short ones."""
    turn = np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False)
    disc = np.column_stack([0.05 * np.cos(turn), 0.05 * np.sin(turn), np.full(12, 9.0)])
    points = np.concatenate([[[-50.0, -50.0, 0.0], [50.0, -50.0, 0.0], [0.0, 50.0, 0.0]], disc])
    faces = np.array([[0, 1, 2], *([3, 3 + k, 4 + k] for k in range(1, 11))])
    edges = pair_edges(faces, len(points))
    loops = open_loops(edges)
    assert sorted(map(len, loops)) == [3, 12]
    assert len(longest(Mesh(points, faces), edges, loops)) == 3
