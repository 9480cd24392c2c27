"""OBJ in the ways exporters write it, and OFF."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, obj, off, rules
from verifier.errors import Malformed, NoTriangles, TooLarge, Truncated
from verifier.reading import read_scan
from verifier.reading.obj import read_obj
from verifier.reading.off import read_off

CORNERS = b"v 0 0 0\nv 10 0 0\nv 10 10 0\nv 0 10 0\n"


def faces_of(lines, corners=CORNERS):
    return read_obj(corners + lines, "fence_clip.obj", LIMITS).faces


@pytest.mark.parametrize(
    "line",
    [
        b"f 1 2 3\n",
        b"f 1/1 2/2 3/3\n",
        b"f 1//1 2//2 3//3\n",
        b"f 1/4/1 2/5/1 3/6/1\n",
        b"f 1// 2// 3//\n",
        b"f -4 -3 -2\n",
        b"f -4/-1/-1 2/5/1 -2//\n",
        b"  f\t1  2\t 3  \n",
        b"f 1 2 \\\n  3\n",
        b"f 1 2 \\ \r\n3\r\n",
        b"f 1 2 3 # the top\n",
        b"f 1 2 3",
    ],
)
def test_a_face_is_read_however_it_is_written(line):
    assert_array_equal(faces_of(line), [[0, 1, 2]])


def test_a_polygon_is_cut_into_triangles_about_its_first_corner():
    raw = read_obj(CORNERS + b"f 1 2 3 4\nf 1 2 3\n", "fence_clip.obj", LIMITS)
    assert_array_equal(raw.faces, [[0, 1, 2], [0, 2, 3], [0, 1, 2]])
    assert raw.notices == ("1 faces with more than three corners were cut into triangles.",)


def test_a_negative_corner_counts_back_from_where_it_stands_in_the_file():
    raw = read_obj(CORNERS + b"f -4 -3 -2\n" + CORNERS + b"f -4 -3 -2\nf 1 2 -1\n", "fence_clip.obj", LIMITS)
    assert_array_equal(raw.faces, [[0, 1, 2], [4, 5, 6], [0, 1, 7]])


def test_a_face_may_come_before_its_corners():
    assert_array_equal(faces_of(CORNERS, b"f 1 2 3\n"), [[0, 1, 2]])


def test_weights_and_colours_of_corners_are_left():
    corners = b"v 0 0 0 1.0\nv 10 0 0 0.5 nan nan\nv 10 10 0\n"
    raw = read_obj(corners + b"f 1 2 3\n", "fence_clip.obj", LIMITS)
    assert_array_equal(raw.vertices, [[0, 0, 0], [10, 0, 0], [10, 10, 0]])


def test_everything_else_in_the_file_is_passed_over():
    around = b"# made at the bench\nmtllib a.mtl\no fence_clip\ng v f\nvt 0 0\nvn 0 0 1\nvp 1 2\ns off\nusemtl f\n"
    assert_array_equal(faces_of(around + b"f 1 2 3\nl 1 2\np 1\n" + around), [[0, 1, 2]])


@pytest.mark.parametrize(
    ("line", "said"),
    [
        (b"f 0 1 2\n", "counts from 1"),
        (b"f -5 1 2\n", "before the first corner"),
        (b"f 1 2 x\n", "no number"),
        (b"f 1 2 3.5\n", "no whole number"),
        (b"f 1 2 1e300\n", "no whole number"),
        (b"f 1 2 nan\n", "no whole number"),
        (b"f 1-2 3\n", "no number|run into each other"),
        (b"f 1 2\n", "fewer than three corners"),
        (b"f 1,2,3\n", "no number"),
    ],
)
def test_a_face_that_cannot_be_meant_is_refused(line, said):
    with pytest.raises(Malformed, match=said):
        faces_of(line)


@pytest.mark.parametrize("line", [b"f 1 2 5\n", b"f 1 2 99999999999\n"])
def test_a_corner_that_does_not_exist_is_refused(dropped, line):
    with pytest.raises(Malformed, match="does not exist"):
        read_scan(dropped(CORNERS + line, "fence_clip.obj"), rules())


@pytest.mark.parametrize("corner", [b"v 1 2\n", b"v 1 2 z\n", b"v 1,5 2,5 3,5\n"])
def test_a_corner_that_is_none_is_refused(corner):
    with pytest.raises(Malformed):
        faces_of(b"f 1 2 3\n", CORNERS + corner)


def test_a_face_in_a_hundred_without_three_corners_is_left_out_and_counted():
    raw = read_obj(CORNERS + b"f 1 2 3\n" * 199 + b"f 1 2\n", "fence_clip.obj", LIMITS)
    assert len(raw.faces) == 199
    assert raw.notices == ("1 of 200 faces have fewer than three corners and were left out.",)


@pytest.mark.parametrize("line", [b"f/ 1 2 3\n", b"f1 2 3\n", b"f\n", b"v1 2 3\n", b"v/ 1 2 3\n"])
def test_a_line_that_is_almost_a_face_is_refused_and_not_passed_over(line):
    """Found by the long run of changed files: another reader takes it for a face, and a triangle would be lost."""
    with pytest.raises(Malformed, match="almost a corner or a face"):
        faces_of(b"f 1 2 3\n" + line)


@pytest.mark.parametrize("line", [b"f 1 2 3\r4\n", b"f 1 2 3\n  4\n", b"f 1 2 3\n-1\n", b"v 1 2 3\n.5\n"])
def test_a_line_broken_in_two_is_refused(line):
    """Found by the long run too: corner 23285 broken after 23 is another corner."""
    with pytest.raises(Malformed, match="broken in two"):
        faces_of(b"f 1 2 3\n" + line)


def test_points_and_wires_alone_are_refused_as_such():
    with pytest.raises(NoTriangles, match="4 points and no faces"):
        faces_of(b"l 1 2 3\n")


def test_one_endless_line_is_refused_at_once():
    with pytest.raises(TooLarge, match="line"):
        faces_of(b"f" + b" 1 2 3" * 20_000 + b"\n")
    with pytest.raises(TooLarge, match="line"):
        faces_of(b"f" + b" 1 2 3 \\\n" * 20_000 + b"\n")


def test_a_text_of_nothing_but_lines_is_refused(monkeypatch):
    """A line costs a hundred times its one byte in memory."""
    monkeypatch.setattr("verifier.reading.numbers.MAX_LINES_AT_ONCE", 1000)
    with pytest.raises(TooLarge, match="1,005 lines"):
        faces_of(b"\n" * 1000 + b"f 1 2 3\n")


def test_a_text_that_is_mostly_line_ends_is_refused():
    with pytest.raises(TooLarge, match="1,100,005 lines"):
        faces_of(b"\n" * 1_100_000 + b"f 1 2 3\n")


def test_a_polygon_of_too_many_triangles_is_refused():
    with pytest.raises(TooLarge, match="limit is 200,000"):
        faces_of((b"f" + b" 1 2 3 4" * 8000 + b"\n") * 10)


def test_a_cut_last_line_is_said_since_obj_has_no_count():
    whole, cut = obj(box()), obj(box())[:-1]
    assert read_obj(whole, "fence_clip.obj", LIMITS).notices == ()
    assert "end of the surface is missing" in read_obj(cut, "fence_clip.obj", LIMITS).notices[0]


def test_an_off_with_quads_colours_comments_and_one_line_of_counts_loses_no_face():
    """trimesh 5.2.0 reads such a file as 0 faces and says nothing."""
    corners = "".join(f"{x} {y} {z}\n" for x, y, z in box().vertices_mm)
    text = f"# fence clip\nOFF 8 3 0\n\n{corners}4 0 1 3 2 255 0 0\n3 4 6 7 # top\n5 0 1 2 3 4 0.5 0.5 0.5 1\n"
    raw = read_off(text.encode(), "fence_clip.off", LIMITS)
    assert_array_equal(raw.faces, [[0, 1, 3], [0, 3, 2], [4, 6, 7], [0, 1, 2], [0, 2, 3], [0, 3, 4]])
    assert_array_equal(raw.vertices, box().vertices_mm)


@pytest.mark.parametrize("word", ["NOFF", "CNOFF", "STOFF", "STCNOFF"])
def test_an_off_whose_corners_have_normals_colours_and_textures_is_read(dropped, word):
    """What the letters before OFF announce stands behind the coordinates; a mark before the word is an editor's."""
    more = " 0 0 1" * ("N" in word) + " 255 0 0 255" * ("C" in word[:-3]) + " 0.5 0.5" * ("ST" in word)
    corners = "".join(f"{x} {y} {z}{more}\n" for x, y, z in box().vertices_mm)
    faces = "".join(f"3 {a} {b} {c}\n" for a, b, c in box().faces)
    text = f"\ufeff{word}\r\n8 12 18\r\n{corners}{faces}"
    scan = read_scan(dropped(text.encode(), "fence_clip.off"), rules())
    assert scan.source.format == "OFF"
    assert_array_equal(scan.mesh.corners_mm, box().corners_mm)


def test_an_off_whose_corners_have_colours_is_read():
    text = b"COFF\n3 1 0\n0 0 0 255 0 0 255\n9 0 0 255 0 0 255\n0 9 0 255 0 0 255\n3 0 1 2\n"
    assert_array_equal(read_off(text, "fence_clip.off", LIMITS).vertices, np.array([[0, 0, 0], [9, 0, 0], [0, 9, 0]]))


@pytest.mark.parametrize(
    ("old", "new", "error"),
    [
        (b"8 12 0", b"8 13 0", Truncated),
        (b"8 12 0", b"8 11 0", Malformed),
        (b"8 12 0", b"4000000000 12 0", Truncated),
        (b"8 12 0", b"8 0 0", NoTriangles),
        (b"8 12 0", b"-8 12 0", Malformed),
        (b"8 12 0", b"8.5 12 0", Malformed),
        (b"8 12 0", b"8", Malformed),
        (b"OFF\n", b"OFF BINARY\n", Malformed),
        (b"OFF\n", b"4OFF\n", Malformed),
        (b"\n3 0 1 3", b"\n9 0 1 3", Truncated),
        (b"\n3 0 1 3", b"\n-1 0 1 3", Truncated),
        (b"\n3 0 1 3", b"\n3 0 1 q", Malformed),
    ],
)
def test_what_breaks_an_off_is_refused(old, new, error):
    with pytest.raises(error):
        read_off(off(box()).replace(old, new, 1), "fence_clip.off", LIMITS)
