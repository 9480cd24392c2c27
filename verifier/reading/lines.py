"""A text taken apart by the first word of its lines, without a loop over them."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import BoolArray

LEADING_BLANKS = re.compile(rb"^[ \t]+", re.MULTILINE)
COMMENT = re.compile(rb"#[^\n]*")
# Lists are made of this many bytes at a time, so that they stay under 100 MiB whatever is in the text.
LINES_BYTES = 1 << 20


def some_lines_at_a_time(text: bytes) -> Iterator[bytes]:
    """The whole lines of each stretch of a megabyte; the last line need not end."""
    start = 0
    while start < len(text):
        end = text.rfind(b"\n", start, start + LINES_BYTES) + 1 or len(text)
        yield text[start:end]
        start = end


def replaced(pattern: re.Pattern[bytes], by: bytes, text: bytes) -> bytes:
    """The text with every match of a pattern replaced; no match may reach beyond its line."""
    return b"".join(pattern.sub(by, lines) for lines in some_lines_at_a_time(text))


def without_comments(text: bytes) -> bytes:
    """The text without what stands behind a number sign, and without blanks at the head of lines."""
    if b"#" in text:
        text = replaced(COMMENT, b"", text)
    indented = text[:1] in b" \t" or b"\n " in text or b"\n\t" in text
    return replaced(LEADING_BLANKS, b"", text) if indented else text


@dataclass(frozen=True, slots=True)
class Lines:
    """Where the lines of a text begin and how long they are, each with its line feed."""

    letters: NDArray[np.uint8]
    starts: NDArray[np.int32]
    lengths: NDArray[np.int32]

    def begin_with(self, word: bytes) -> BoolArray:
        """Which lines have this word of one letter, and a blank behind it, (lines,)."""
        return self._begin_with(word, b" \t")

    def begin_almost_with(self, word: bytes, longer: bytes) -> bool:
        """Whether a line has this letter, and behind it neither a blank nor one of those that make it a longer word."""
        almost = (self.letters[self.starts] == word[0]) & ~self._begin_with(word, b" \t" + longer)
        return bool(almost.any())

    def begin_with_number(self) -> bool:
        """Whether a line begins with a digit, a sign or a point."""
        numeric = np.zeros(256, dtype=bool)
        numeric[list(b"0123456789+-.")] = True
        return bool(numeric[self.letters[self.starts]].any())

    def _begin_with(self, word: bytes, behind: bytes) -> BoolArray:
        first = self.letters[self.starts] == word[0]
        second = self.letters[np.minimum(self.starts + 1, len(self.letters) - 1)]
        allowed = np.zeros(256, dtype=bool)
        allowed[list(behind)] = True
        return np.asarray(first & allowed[second], dtype=bool)

    def text_of(self, chosen: BoolArray) -> bytes:
        """The chosen lines without their first letter and the blank behind it."""
        keep = np.repeat(chosen, self.lengths)
        keep[self.starts] = False
        keep[self.starts[chosen] + 1] = False
        return self.letters[keep].tobytes()


def lines_of(text: bytes) -> Lines:
    """Find the lines of a text that ends with a line feed."""
    letters = np.frombuffer(text, dtype=np.uint8)
    ends = np.flatnonzero(letters == 10).astype(np.int32) + np.int32(1)  # no text of 2 GiB comes as far as here
    starts = np.concatenate([np.zeros(1, dtype=np.int32), ends[:-1]])
    return Lines(letters, starts, ends - starts)
