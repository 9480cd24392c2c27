"""Binary and text STL: nothing of a surface is lost without a word."""

import re
from io import BytesIO

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, box, ring, rules, stl_binary, stl_text
from verifier.errors import Malformed, NoTriangles, TooLarge, Truncated, VerifierError
from verifier.reading import read_scan
from verifier.reading import stl_text as stl_text_reader
from verifier.reading.raw_mesh import RawMesh
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


@pytest.mark.parametrize("name", ["Türhebel – Hofseite", "замок", "門閂 facet", "latch\tlever"])
def test_a_solid_may_have_a_name_in_any_script_and_a_byte_order_mark(dropped, name):
    for mark in ("", "\ufeff"):
        data = mark.encode() + stl_text(box(), name).replace(b"\n", b"\r\n")
        scan = read_scan(dropped(data), rules())
        assert scan.source.format == "text STL"
        assert_array_equal(scan.mesh.corners_mm, box().corners_mm)


def test_colour_bytes_of_a_binary_stl_are_left_as_a_second_library_leaves_them(dropped):
    """Two bytes a triangle that some writers fill with 15 bits of colour, and a colour in the header, by trimesh."""
    header, records = stl_binary(box(), b"COLOR=\xff\x80\x00\xff latch lever")[:84], stl_binary(box())[84:]
    data = header + b"".join(records[50 * k : 50 * k + 48] + b"\x1f\x80" for k in range(12))
    scan = read_scan(dropped(data), rules())
    second = trimesh.load(BytesIO(data), file_type="stl", process=False)
    assert_array_equal(scan.mesh.corners_mm, box().corners_mm)
    assert_array_equal(scan.mesh.corners_mm, second.triangles)


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


COLUMNS = "vertex {:>14.6e} {:>14.6e} {:>14.6e}"
STYLES = {
    "one blank": stl_text(ring(12, 8)),
    "columns": re.sub(
        rb"vertex (\S+) (\S+) (\S+)",
        lambda found: COLUMNS.format(*map(float, found.groups())).encode(),
        stl_text(ring(12, 8)),
    ),
    "short": stl_text(ring(12, 8)).replace(b".0000000000000000e+00", b""),
    "points at the end": stl_text(ring(12, 8)).replace(b".0000000000000000e+00", b"."),
    "no numbers for normals": stl_text(ring(12, 8)).replace(b"normal 0 0 0", b"normal nan nan nan"),
    "tabs": stl_text(ring(12, 8)).replace(b"  ", b"\t"),
}
PIECES = [b"", b" ", b"\n", b"-", b"-0", b"1e999", b"nan", b"vertex", b" vertex ", b"\1", b",", b"1 2", b"endfacet\n"]


def word_by_word(text: bytes) -> RawMesh | VerifierError:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stl_text_reader, "_corners_alike", lambda text: None)
        return result_of(text)


def result_of(text: bytes) -> RawMesh | VerifierError:
    try:
        return read_text(text)
    except VerifierError as refused:
        return refused


@given(
    style=st.sampled_from(list(STYLES)),
    edits=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.sampled_from(PIECES), st.integers(0, 8)), max_size=2
    ),
    chunk_bytes=st.sampled_from([500, CHUNK_BYTES]),
)
@settings(max_examples=200, deadline=None)
def test_facets_taken_all_at_once_are_those_taken_word_by_word(style, edits, chunk_bytes):
    text = STYLES[style]
    for where, piece, length in edits:
        at = int(where * len(text))
        text = text[:at] + piece + text[at + length :]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stl_text_reader, "CHUNK_BYTES", chunk_bytes)
        found, expected = result_of(text), word_by_word(text)
    if isinstance(expected, VerifierError):
        assert str(found) == str(expected)
    else:
        assert found.vertices.tobytes() == expected.vertices.tobytes()


@pytest.mark.parametrize("style", ["one blank", "columns", "tabs"])
def test_facets_of_one_make_are_taken_all_at_once(style, monkeypatch):
    monkeypatch.setattr(stl_text_reader, "_corners_by_word", lambda *_: pytest.fail("taken word by word"))
    assert len(read_text(STYLES[style]).faces) == len(ring(12, 8).faces)
