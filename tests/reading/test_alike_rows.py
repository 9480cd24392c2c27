"""Numbers out of rows of one make: the same as Python's own, to the bit, or no answer."""

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from verifier.reading.alike_rows import listed_floats, listed_ints, rows_alike

WRITTEN = st.one_of(
    st.builds(
        lambda value, form: form % value, st.floats(allow_nan=False), st.sampled_from(["%r", "%.9g", "%.6e", "%f"])
    ),
    st.from_regex(r"-?[0-9]{1,25}(\.[0-9]{1,25})?([eE][-+]?[0-9]{1,3})?", fullmatch=True),
    st.text("0123456789+-.eE", max_size=8),
    st.integers().map(str),
)


def bits(values) -> list[int]:
    return np.asarray(values, dtype=np.float64).view(np.int64).tolist()


def each(kind, texts):
    """What Python makes of every text; nothing when one is no number."""
    try:
        return [kind(text) for text in texts]
    except ValueError:
        return []


@given(st.lists(WRITTEN, min_size=1, max_size=6))
@example(["-0", "-0", "0", "-0.0", "-0e3"])
@example(["9007199254740993", "1e999", "-1e-999", "5e-324", "2.4703282292062328e-324"])
@example(["9" * 400])
def test_floats_are_rounded_as_python_rounds_them_or_left(texts):
    found = listed_floats(",".join(texts).encode())
    assert found is None or bits(found) == bits(each(float, texts))


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False).map(repr), min_size=1))
def test_every_float_as_python_writes_it_comes_back(texts):
    assert bits(listed_floats(",".join(texts).encode())) == bits([float(text) for text in texts])


@given(st.lists(st.one_of(st.integers().map(str), WRITTEN), min_size=1, max_size=6))
@example(["9223372036854775808"])
@example(["-9223372036854775809"])
@example(["1", "", "2"])
@example(["-"])
@example(["1", "-", "2"])
def test_whole_numbers_are_python_s_or_left(texts):
    found = listed_ints(",".join(texts).encode())
    assert found is None or found.tolist() == each(int, texts)


def test_what_is_no_list_of_numbers_is_left():
    for text in (b"1,,2", b"1,2,", b",1", b"1-2", b"-", b".5", b"+1", b"1."):
        assert listed_floats(text) is None, text
    for text in (b"", b"1,,2", b"1,2,", b",1", b"1-2", b"1.0", b"1e3"):
        assert listed_ints(text) is None, text


def test_rows_of_one_make_are_told_from_rows_that_only_have_the_same_letters():
    between = (b" y=", b" z=", b";x=")
    assert_array_equal(rows_alike(b"1 y=2 z=3;x=4 y=5 z=6", between, listed_floats), [[1, 2, 3], [4, 5, 6]])
    for other in (
        b"1 y=2 z=3;x=4 z=5 y=6",
        b"1 y=2 z=3;x=4 y=5",
        b"1 y=2 z=3;x=4 y=5 z=6;x=",
        b"1 y= z=3;x=4 y=5 z=6",
        b"1 y=2 z=3;x=4 y=5, z=6",
        b"1\1 2 z=3",
        b"1 y=2 z=3 ;x=4 y=5 z=6",
    ):
        assert rows_alike(other, between, listed_floats) is None, other


@pytest.mark.parametrize("many", [7, 20])
def test_more_makes_of_gap_than_there_are_marks_are_left(many):
    between = [bytes([65 + k]) for k in range(many)]
    assert rows_alike(b"1" + b"".join(piece + b"1" for piece in between[:-1]), between, listed_floats) is None
