"""Binary and text STL: nothing of a surface is lost without a word."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, ring, rules, stl_binary, stl_text
from verifier.errors import Malformed, NoTriangles, TooLarge, Truncated
from verifier.reading import read_scan
from verifier.reading.stl_text import CHUNK_BYTES, read_stl_text


def read_text(text):
    return read_stl_text(text, "latch_lever.stl", LIMITS)


def test_corners_of_an_stl_stay_unshared(dropped):
    scan = read_scan(dropped(stl_binary(box())), rules())
    assert_array_equal(scan.mesh.faces, np.arange(36).reshape(-1, 3))


def test_a_cut_binary_stl_says_how_many_triangles_it_announces_and_has(dropped):
    with pytest.raises(Truncated, match="announces 12 triangles and has 7"):
        read_scan(dropped(stl_binary(box())[: 84 + 7 * 50 + 3]), rules())


def test_a_binary_stl_longer_than_it_announces_is_refused(dropped):
    with pytest.raises(Malformed, match="announces 11 triangles and has 50 bytes more"):
        read_scan(dropped(stl_binary(box(), count=11)), rules())


def test_a_binary_stl_whose_end_was_reserved_and_never_written_is_refused(dropped):
    data = stl_binary(box())
    with pytest.raises(Truncated, match="never written"):
        read_scan(dropped(data[:-200] + bytes(200)), rules())


def test_an_stl_without_triangles_is_refused(dropped):
    with pytest.raises(NoTriangles):
        read_scan(dropped(bytes(84)), rules())
    with pytest.raises(NoTriangles):
        read_scan(dropped(b"solid latch_lever\nendsolid latch_lever\n"), rules())


@pytest.mark.parametrize("write", [stl_binary, stl_text])
def test_an_stl_beyond_the_limit_of_triangles_is_refused_and_one_at_the_limit_is_read(dropped, write):
    path = dropped(write(box()))
    assert len(read_scan(path, rules(max_triangles=12)).mesh.faces) == 12
    with pytest.raises(TooLarge, match="12 triangles and the limit is 11"):
        read_scan(path, rules(max_triangles=11))


def test_several_solids_of_any_name_are_read_as_one_scan():
    """Names with the words of the format in them, capitals, tabs, and no line end at the end."""
    one, two = stl_text(box(), "facet_vertex endloop"), stl_text(box(2, 3, 4), "Endfacet")
    raw = read_text(one + b"\n" + two.replace(b"  ", b"\t").upper().rstrip())
    assert_array_equal(raw.vertices, np.concatenate([box().corners_mm, box(2, 3, 4).corners_mm]).reshape(-1, 3))


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"])
def test_lines_may_end_as_on_any_system(ending):
    raw = read_text(b"\xef\xbb\xbf" + stl_text(box()).replace(b"\n", ending))
    assert_array_equal(raw.vertices, box().corners_mm.reshape(-1, 3))


def test_normals_that_are_no_numbers_do_no_harm():
    raw = read_text(stl_text(box()).replace(b"normal 0 0 0", b"normal nan -nan(ind) 1.#QNAN"))
    assert len(raw.faces) == 12


def test_a_text_stl_of_many_chunks_is_read_whole():
    mesh = ring(120, 120)
    text = stl_text(mesh)
    assert len(text) > 2 * CHUNK_BYTES
    assert_array_equal(read_text(text).vertices, mesh.corners_mm.reshape(-1, 3))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (b"outer loop", b"outer"),
        (b"endloop", b""),
        (b"vertex", b"vertez"),
        (b"vertex 4.2", b"vertex 4,2"),
        (b"vertex 4.2", b"vertex 4.2-1"),
        (b"vertex 4.2", b"vertex # 4.2"),
        (b"endsolid latch_lever\n", b"endsolid latch_lever\nfacet\n"),
        (b"endfacet", b"endfacet endfacet"),
        (b"  facet normal 0 0 0", b"facet normal 0 0"),
        (b"outer", b"out\0er"),
    ],
)
def test_one_departure_from_the_format_refuses_the_file(old, new):
    """A reader that skips what it does not know would lose the triangle."""
    text = stl_text(box(8.4, 8.4, 8.4))
    assert old in text
    with pytest.raises(Malformed):
        read_text(text.replace(old, new, 1))


def test_a_text_stl_without_its_last_line_is_cut_short():
    with pytest.raises(Truncated, match="after 12 facets"):
        read_text(stl_text(box()).replace(b"endsolid latch_lever\n", b""))


def test_a_file_of_nothing_but_empty_solids_is_refused_in_time():
    with pytest.raises(TooLarge, match="solids"):
        read_text(b"solid\nendsolid\n" * 1_000_000)


def test_a_line_without_end_is_refused():
    with pytest.raises(TooLarge, match=r"line of more than 65,536 bytes"):
        read_text(b"solid " + b"x" * 10_000_000 + b"\n" + stl_text(box())[18:])
