"""Numbers of a text come out the same whether they are taken as a list or one by one."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from verifier.errors import Malformed
from verifier.reading import lines as lines_module
from verifier.reading import numbers as reading_numbers
from verifier.reading.numbers import numbers, numbers_by_line

WORDS = st.one_of(
    st.floats().map(repr),
    st.integers().map(str),
    st.sampled_from(
        ["-0", "+1", "1.", ".5", "1e5", "1e999", "1-2", "nan", "-inf", "0x1", "1_0", "1,5", "e", "-", "--1"]
    ),
)
LINES = st.lists(
    st.tuples(st.lists(WORDS, max_size=4), st.sampled_from([" ", "  ", "\t"]), st.sampled_from(["\n", " \n", "\n\n"]))
)


def one_by_one(text: bytes) -> np.ndarray | None:
    try:
        return reading_numbers._numbers_one_by_one(text, "lever") if text.strip() else np.empty(0)
    except Malformed:
        return None


@given(LINES, st.sampled_from([1, 8, 1 << 20]))
@example([(["-0", "-0"], " ", "\n")], 1 << 20)
@settings(deadline=None)
def test_a_list_of_numbers_is_read_as_one_by_one(lines, lines_bytes):
    text = "".join(between.join(words) + end for words, between, end in lines).encode()
    expected = one_by_one(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lines_module, "LINES_BYTES", lines_bytes)
        if expected is None:
            with pytest.raises(Malformed):
                numbers(text, "lever")
        else:
            found = numbers(text, "lever")
            assert found.view(np.int64).tolist() == expected.view(np.int64).tolist()


@given(st.lists(st.lists(st.integers(-9, 9), max_size=5)), st.sampled_from([1, 8, 1 << 20]))
@settings(deadline=None)
def test_every_line_is_counted_by_itself(rows, lines_bytes):
    text = "".join(" ".join(map(str, row)) + "\n" for row in rows).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lines_module, "LINES_BYTES", lines_bytes)
        values, counts = numbers_by_line(text, "lever")
    assert counts.tolist() == [len(row) for row in rows]
    assert values.tolist() == [value for row in rows for value in row]


def test_numbers_that_run_into_each_other_are_refused():
    with pytest.raises(Malformed, match=r"no number|run into each other"):
        numbers_by_line(b"1 2-3\n", "lever")


def test_text_of_nothing_but_blanks_has_no_numbers():
    values, counts = numbers_by_line(b" \n\t\n", "lever")
    assert_array_equal(values, np.empty(0))
    assert counts.tolist() == [0, 0]
