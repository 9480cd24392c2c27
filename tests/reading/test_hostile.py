"""Files cut anywhere and changed anywhere: refused with a sentence, or read whole, and always in time."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from tests.reading.examples import LIMITS, WRITERS, ring
from verifier.errors import VerifierError
from verifier.reading.checks import checked
from verifier.reading.formats import format_of
from verifier.reading.raw_mesh import RawMesh

MESH = ring(16, 8)
FILES = {name: write(MESH) for name, write in WRITERS.items()}
COUNTED = [name for name in WRITERS if not name.endswith(".obj")]
CUTS_A_FORMAT = 200


def read(data: bytes, name: str) -> RawMesh | None:
    """What a file is read as; None when it is refused with a sentence."""
    try:
        return checked(format_of(data, name).read(data, name, LIMITS), name, LIMITS)
    except VerifierError as refused:
        return None if refused.where == name and str(refused).isprintable() else pytest.fail(f"says {refused!r}")


@pytest.mark.parametrize("name", COUNTED)
def test_a_file_cut_anywhere_is_refused(name):
    """200 cuts a format at random, and one at each of the last hundred bytes.

    A cut is no loss when it takes a line end, or the name behind endsolid. One within the last number of a text shows
    in no count, and is said.
    """
    data = FILES[name]
    random = np.random.default_rng(7).integers(1, len(data), CUTS_A_FORMAT)
    whole = data.find(b"endsolid") + len(b"endsolid") if name.endswith("text.stl") else len(data.rstrip())
    for cut in {*random.tolist(), *range(len(data) - 100, whole)}:
        raw = read(data[:cut], name)
        if raw is not None and cut < whole:
            assert any("missing or wrong" in notice for notice in raw.notices), f"cut at byte {cut} of {len(data)}"
            assert not data[cut:whole].strip(b"0123456789"), f"cut at byte {cut} of {len(data)}"


def test_an_obj_cut_within_a_line_is_refused_or_says_so():
    data = FILES["latch_lever.obj"]
    for cut in np.random.default_rng(8).integers(1, len(data), CUTS_A_FORMAT).tolist():
        raw = read(data[:cut], "latch_lever.obj")
        if raw is not None and data[cut - 1 : cut] != b"\n":
            assert any("missing or wrong" in notice for notice in raw.notices)
            assert_array_equal(raw.vertices[raw.faces[:-1]], MESH.corners_mm[: len(raw.faces) - 1])


def test_an_obj_cut_at_the_end_of_a_line_is_read_as_far_as_it_goes():
    """Known limit: OBJ has no count, so such a file cannot be told from a whole one."""
    lines = FILES["latch_lever.obj"].splitlines(keepends=True)
    raw = read(b"".join(lines[:-10]), "latch_lever.obj")
    assert raw is not None
    assert_array_equal(raw.vertices[raw.faces], MESH.corners_mm[:-10])


@given(
    name=st.sampled_from(list(FILES)),
    edits=st.lists(
        st.tuples(
            st.floats(0, 1, exclude_max=True),
            st.sampled_from(["change", "insert", "delete", "repeat", "swap"]),
            st.one_of(
                st.binary(min_size=1, max_size=4), st.sampled_from([b"9" * 30, b"nan", b"-1", b"\n", b"\0", b'"'])
            ),
        ),
        min_size=1,
        max_size=4,
    ),
)
@settings(max_examples=300, deadline=2000, suppress_health_check=[HealthCheck.too_slow])
def test_a_file_changed_anywhere_is_refused_or_read_with_all_its_triangles(name, edits):
    """Never another error, never over two seconds, and never a triangle fewer than the file has, without a notice.

    OBJ has no count at all and GLB only one, so that a changed count there cannot be told from a true one.
    """
    data = FILES[name]
    for where, how, piece in edits:
        at = int(where * len(data))
        data = {
            "change": data[:at] + piece + data[at + len(piece) :],
            "insert": data[:at] + piece + data[at:],
            "delete": data[:at] + data[at + len(piece) :],
            "repeat": data[:at] + data[max(0, at - 60) :],
            "swap": data[at : at + 40] + data[:at] + data[at + 40 :],
        }[how]
    raw = read(data, name)
    if raw is not None and not raw.notices and not name.endswith((".obj", ".glb")):
        assert len(raw.faces) >= len(MESH.faces)


@given(st.binary(max_size=300), st.sampled_from([b"", b"ply\n", b"solid ", b"OFF\n", b"v 1 2 3\n", b"PK\x03\x04"]))
@settings(max_examples=200, deadline=2000)
def test_bytes_of_no_meaning_are_refused_with_a_sentence(data, head):
    raw = read(head + data, "latch_lever.stl")
    assert raw is None or len(raw.faces) > 0
