"""A text taken apart by the first word of its lines, without a loop over them."""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from verifier.mesh import BoolArray, IntArray

LEADING_BLANKS = re.compile(rb"^[ \t]+", re.MULTILINE)
COMMENT = re.compile(rb"#[^\n]*")


def without_comments(text: bytes) -> bytes:
    """The text without what stands behind a number sign, and without blanks at the head of lines."""
    if b"#" in text:
        text = COMMENT.sub(b"", text)
    return LEADING_BLANKS.sub(b"", text) if text[:1] in b" \t" or b"\n " in text or b"\n\t" in text else text


@dataclass(frozen=True, slots=True)
class Lines:
    """Where the lines of a text begin and how long they are, each with its line feed."""

    letters: NDArray[np.uint8]
    starts: IntArray
    lengths: IntArray

    def begin_with(self, word: bytes) -> BoolArray:
        """Which lines have this word of one letter, and a blank behind it, (lines,)."""
        first = self.letters[self.starts] == word[0]
        second = self.letters[np.minimum(self.starts + 1, len(self.letters) - 1)]
        blank: BoolArray = (second == 32) | (second == 9)
        return np.asarray(first & blank, dtype=bool)

    def text_of(self, chosen: BoolArray) -> bytes:
        """The chosen lines without their first letter and the blank behind it."""
        keep = np.repeat(chosen, self.lengths)
        keep[self.starts] = False
        keep[self.starts[chosen] + 1] = False
        return self.letters[keep].tobytes()


def lines_of(text: bytes) -> Lines:
    """Find the lines of a text that ends with a line feed."""
    letters = np.frombuffer(text, dtype=np.uint8)
    ends = np.flatnonzero(letters == 10) + 1
    starts = np.concatenate([[0], ends[:-1]])
    return Lines(letters, starts, ends - starts)
